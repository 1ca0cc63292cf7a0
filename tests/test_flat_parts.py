"""Parts that are a sheet or a line: refused in one line by every command, however they lie."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
import trimesh

import shrinkrule as sr
from shrinkrule.cli import main
from shrinkrule.errors import MeshError

FACET = np.array(((0.0, 0.0, 0.0), (20.0, 0.0, 0.0), (0.0, 20.0, 0.0)))
TILTED = FACET + np.array(((0.0, 0.0, 0.0), (0.0, 0.0, 5.0), (0.0, 0.0, 7.0)))
BY_ROW = ("--demo-table", "--row", "bronze demo batch 90")
COMMANDS = {
    "as it is": ("compensate", *BY_ROW),
    "open": ("compensate", *BY_ROW, "--allow-open"),
    "sag": ("compensate", *BY_ROW, "--allow-open", "--keep-bodies", "--sag"),
    "by hand": ("compensate", "--scale-xy", "1.1", "--scale-z", "1.2", "--allow-open"),
    "walls": ("walls",),
    "wanted": ("walls", *BY_ROW),
    "ways": ("ways-up", *BY_ROW),
}


def mesh_of(corners: np.ndarray) -> trimesh.Trimesh:
    return trimesh.Trimesh(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3))


def box(*sides: float) -> trimesh.Trimesh:
    return trimesh.creation.box(sides)


FLAT = {
    "a facet": mesh_of(FACET[None]),
    "a slanting facet": mesh_of(TILTED[None]),
    "back to back": mesh_of(np.stack([FACET, FACET[::-1]])),
    "a film": box(20.0, 20.0, 1e-4),
    "a needle": box(1e-4, 1e-4, 20.0),
}


@pytest.mark.parametrize("name", FLAT)
def test_every_command_refuses_it_by_name(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    FLAT[name].export("flat.stl")
    for command, *rest in COMMANDS.values():
        assert main([command, "flat.stl", *rest, "--out", "out"]) == 2, command
        said = capsys.readouterr()
        assert said.err.startswith("shrinkrule: flat.stl: "), said.err
        assert said.err.count("\n") == 1
    assert not Path("out").exists()
    assert main(["dimensions", "flat.stl"]) == 0


@pytest.mark.parametrize("name", FLAT)
def test_so_does_the_python_interface(name: str) -> None:
    row = sr.find_row(sr.demo_table(), BY_ROW[2], "demo table")
    with pytest.raises(MeshError, match="flat: the part is a "):
        sr.compensate(
            sr.part_from_mesh(FLAT[name], "flat"), sr.Recipe(sr.Printer.from_nozzle(0.6), row)
        )


@pytest.mark.parametrize("sides", list(itertools.permutations((20.0, 8.0, 0.02))))
def test_what_has_a_thickness_is_not_called_flat(sides: tuple[float, ...]) -> None:
    """Twice the limit, standing, lying and slanting: a matter for the walls, not refused here."""
    mesh = box(*sides)
    for angle in (0.0, 0.7):
        mesh.apply_transform(trimesh.transformations.rotation_matrix(angle, (1.0, 2.0, 3.0)))
        sr.part_from_mesh(mesh).require_extent()


def test_a_hint_names_the_command_that_has_its_flag(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    mesh = box(20.0, 20.0, 5.0)
    mesh.update_faces(np.arange(11))
    mesh.export("open.stl")
    assert main(["ways-up", "open.stl", *BY_ROW]) == 2
    assert "(compensate --allow-open)" in capsys.readouterr().err
    assert main(["compensate", "open.stl", *BY_ROW]) == 2
    assert "it is (--allow-open)" in capsys.readouterr().err


def test_another_format_is_no_run_that_was_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    box(20.0, 20.0, 5.0).export("plate.stl")
    made = ("compensate", "plate.stl", "--scale-xy", "1.1", "--scale-z", "1.2", "--force")
    assert main(list(made)) == 0
    assert main([*made, "--format", "3mf"]) == 0
    assert "stopped" not in capsys.readouterr().err
    Path("plate.green.3mf").unlink()
    assert main([*made, "--format", "3mf"]) == 0
    assert "plate.green.3mf is missing beside the report" in capsys.readouterr().err
