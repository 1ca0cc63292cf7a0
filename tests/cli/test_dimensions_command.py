"""``shrinkrule dimensions``: the screen, the list on disk, JSON, and what is refused."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from dimensions.solids import box, mesh_of, plate, rod
from shrinkrule import stl_bytes
from shrinkrule.cli import main


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    (tmp_path / "plate.stl").write_bytes(stl_bytes(mesh_of(plate()[0]), "plate"))
    return tmp_path


def test_the_dozen_is_shown_and_all_are_in_the_list(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (in_folder / "plate.stl").read_bytes()
    assert main(["dimensions", "plate.stl"]) == 0
    shown = capsys.readouterr().out
    assert max(len(line) for line in shown.splitlines()) <= 80
    assert (in_folder / "plate.stl").read_bytes() == before
    numbered = [line.split() for line in shown.splitlines() if line.split()[0].isdigit()]
    assert len(numbered) == 12
    # The bore of 6 with 48 facets: 6 cos(180 / 48 degrees) over its flats.
    (bore,) = [row for row in numbered if row[1:3] == ["bore", "6.000"]]
    assert bore[3] == f"{6 * np.cos(np.pi / 48):.3f}"
    assert " ".join(bore[4:6]) == "about Z"
    assert bore[-1] == "2"
    with (in_folder / "plate.dimensions.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["number"] for row in rows] == [str(n + 1) for n in range(len(rows))]
    (pitch,) = [
        row for row in rows if row["kind"] == "axis distance" and row["size_mm"] == "18.0000"
    ]
    assert (pitch["direction_x"], pitch["direction_y"]) == ("0.000000", "1.000000")
    assert (pitch["x_mm"], pitch["y_mm"]) == ("12.0000", "20.0000")


def test_json_holds_the_same_list(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["dimensions", "plate.stl", "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    assert plain["schema"] == "shrinkrule.dimensions"
    bores = [one for one in plain["dimensions"] if one["kind"] == "bore"]
    assert {round(one["size_mm"], 3): one["facets_round"] for one in bores} == {6.0: 48, 5.2: 36}
    assert {one["between"] for one in bores} == {"bore"}
    assert plain["noise_mm"] == pytest.approx(2.0**-18)


def test_the_unit_is_obeyed_and_an_open_surface_measured(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mesh = mesh_of(box((2, 1, 0.5)) - rod(0.25, 2, (0.5, 0.5, -1), 64))
    mesh.update_faces(np.arange(len(mesh.faces)) != 0)
    (in_folder / "inch.stl").write_bytes(stl_bytes(mesh, "inch"))
    assert main(["dimensions", "inch.stl", "--unit", "in", "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    (bore,) = [one for one in plain["dimensions"] if one["kind"] == "bore"]
    assert bore["size_mm"] == pytest.approx(6.35, abs=1e-3)
    assert any("not closed" in note for note in plain["notes"])


def test_a_missing_file_is_refused_and_a_missing_folder_is_made(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["dimensions", "no.stl"]) == 2
    assert "no.stl: no such file" in capsys.readouterr().err
    assert main(["dimensions", "plate.stl", "--out", "new/folder"]) == 0
    assert Path("new/folder/plate.dimensions.csv").exists()
