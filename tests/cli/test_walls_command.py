"""``shrinkrule walls``: coloured meshes on disk, and thick sections beside the coupon's."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import trimesh

from shrinkrule import demo_table, stl_bytes, table_csv
from shrinkrule.cli import main

SAMPLES = Path(__file__).parents[2] / "sample_models"


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def box(folder: Path, *sides: float) -> None:
    mesh = trimesh.creation.box(sides).apply_translation((100.0, 0.0, -7.0))
    (folder / "box.stl").write_bytes(stl_bytes(mesh, "box"))


def test_the_part_is_written_coloured_in_the_model_s_own_axes(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    box(in_folder, 30.0, 20.0, 1.0)
    before = (in_folder / "box.stl").read_bytes()
    assert (
        main(["walls", "box.stl", "--print-up", "x", "--scale-xy", "1.2", "--scale-z", "1.25"]) == 0
    )
    assert names(in_folder) == {"box.stl", "box.walls.ply", "box.walls.glb"}
    assert (in_folder / "box.stl").read_bytes() == before
    shown = capsys.readouterr().out
    assert "box.walls.ply" in shown
    assert max(len(line) for line in shown.splitlines()) <= 80
    read = trimesh.load(in_folder / "box.walls.ply", process=False)
    assert read.bounds == pytest.approx(np.array([[85.0, -10.0, -7.5], [115.0, 10.0, -6.5]]))
    data = (in_folder / "box.walls.ply").read_bytes()
    head, _, body = data.partition(b"end_header\n")
    assert b"property float thickness_mm" in head
    fields = [("place", "<f4", 3), ("colour", "u1", 4), ("thickness_mm", "<f4")]
    vertices = np.frombuffer(body, np.dtype(fields), len(read.vertices))
    # Printed with x up, its 1 mm along z lies in a layer: 1.2 mm green, under two beads of 0.66.
    assert vertices["thickness_mm"] == pytest.approx(np.full(24, 1.2), rel=1e-6)
    # The colour of a single bead, as the head of the file says it.
    (told,) = {tuple(map(int, colour)) for colour in vertices["colour"]}
    entry = "#{:02x}{:02x}{:02x} prints weakly: single bead under 1.32 mm".format(*told)
    assert entry.encode() in head


def test_out_and_json(in_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    box(in_folder, 30.0, 20.0, 5.0)
    assert main(["walls", "box.stl", "--json", "--out", "away"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["files"] == {"ply": "box.walls.ply", "glb": "box.walls.glb"}
    assert names(in_folder / "away") == set(told["files"].values())


def test_nothing_half_written_and_no_input_overwritten(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    box(in_folder, 30.0, 20.0, 5.0)
    (in_folder / "box.walls.glb").mkdir()
    assert main(["walls", "box.stl"]) == 2
    assert names(in_folder) == {"box.stl", "box.walls.glb"}
    (in_folder / "box.walls.glb").rmdir()
    (in_folder / "box.walls.glb").symlink_to("box.stl")
    assert main(["walls", "box.stl"]) == 2
    assert "overwrite an input" in capsys.readouterr().err
    assert names(in_folder) == {"box.stl", "box.walls.glb"}


def test_a_thick_section_beside_the_coupon_s(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A cube of 20 mm holds a ball of 20 mm: four times the square of the coupon's 10 mm."""
    box(in_folder, 20.0, 20.0, 20.0)
    assert main(["walls", "box.stl", "--json", "--coupon-section", "10mm"]) == 0
    walls = json.loads(capsys.readouterr().out)["walls"]
    assert walls["coupon_section_mm"] == 10.0
    # A ball that spans a part is told to 2 %, so it is met up to 2 mm off the middle.
    assert walls["binder_time_over_coupon"] == pytest.approx(4.0, rel=0.04)
    assert walls["thickest_at_model_mm"] == pytest.approx([100.0, 0.0, -7.0], abs=2.1)
    assert main(["walls", "box.stl", "--coupon-section", "10"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "about 4 times as long to leave as in the coupon (common practice)" in shown
    assert main(["walls", "box.stl"]) == 0
    assert "state the coupon's thickest section" in " ".join(capsys.readouterr().out.split())
    assert main(["walls", "box.stl", "--coupon-section", "25"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "no thicker than the coupon's 25.0 mm" in shown
    assert "times as long" not in shown


@pytest.mark.parametrize("tells", [True, False])
def test_the_row_brings_the_coupon_s_section(
    tells: bool, in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Row and option; a table from before the column existed is read as one that does not tell."""
    text = table_csv(demo_table())
    if not tells:
        head, *rows = csv.reader(text.splitlines())
        column = head.index("thickest_section_mm")
        kept = [",".join(f'"{c}"' for n, c in enumerate(row) if n != column) for row in rows]
        text = "\r\n".join([",".join(n for n in head if n != "thickest_section_mm"), *kept])
    (in_folder / "table.csv").write_text(text)
    box(in_folder, 20.0, 20.0, 20.0)
    row = ["--table", "table.csv", "--row", "bronze demo batch 90"]
    assert main(["compensate", "box.stl", *row]) == 0
    report = json.loads((in_folder / "box.report.json").read_text())
    assert report["walls"]["coupon_section_mm"] == (6.8 if tells else None)
    reason = " ".join(reason["text"] for reason in report["verdict"]["reasons"])
    page = (in_folder / "box.report.html").read_text()
    for place in (reason, page):
        assert ("times as long to leave as in the coupon (common practice)" in place) is tells
    assert ("thickest_section_mm" in page) is not tells
    assert main(["compensate", "box.stl", *row, "--coupon-section", "12"]) == 0
    report = json.loads((in_folder / "box.report.json").read_text())
    assert report["walls"]["coupon_section_mm"] == 12.0


def test_each_place_tells_its_span_its_pictures_and_a_mend_that_passes(in_folder: Path) -> None:
    """A wall of 0.5 mm; 0.66 mm of bead over 1.17 is 0.5641 mm, told as the 0.57 mm that passes."""
    mesh = trimesh.creation.box((20.0, 0.5, 15.0))
    (in_folder / "box.stl").write_bytes(stl_bytes(mesh, "wall"))
    by_hand = ["--scale-xy", "1.17", "--scale-z", "1.19"]
    assert main(["compensate", "box.stl", *by_hand]) == 0
    page = (in_folder / "box.report.html").read_text()
    assert "thicken from 0.50: prints from 0.57, sound from 1.13 mm" in page
    # All of it, rims too.
    assert "<td>20.0 × 0.5 × 15.0</td>" in page
    assert "<td>A" in page
    (place,) = json.loads((in_folder / "box.report.json").read_text())["walls"]["findings"]
    low, high = np.array(place["model_box_mm"])
    assert high - low == pytest.approx([20.0, 0.5, 15.0], abs=1e-6)
    mended = trimesh.creation.box((20.0, 0.57, 15.0))
    (in_folder / "box.stl").write_bytes(stl_bytes(mended, "wall"))
    assert main(["walls", "box.stl", *by_hand, "--fail-on-thin"]) == 0


def test_a_row_says_that_the_part_is_the_wanted_one(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A plate of 1 mm is scaled in Z by 1 / (1 - 0.16), as the row of the bundled table says."""
    box(in_folder, 30.0, 20.0, 1.0)
    assert main(["walls", "box.stl", "--json"]) == 0
    green = json.loads(capsys.readouterr().out)
    assert green["oversize"] == {"x": 1.0, "y": 1.0, "xy": 1.0, "z": 1.0}
    assert green["taken_as"] == "as the GREEN part, in the size of its file"
    assert main(["walls", "box.stl", "--demo-table", "--json"]) == 0
    wanted = json.loads(capsys.readouterr().out)
    assert wanted["oversize"]["z"] == pytest.approx(1 / 0.84, rel=1e-9)
    assert wanted["oversize"]["x"] == pytest.approx(1 / 0.8545, rel=1e-9)
    assert "'bronze demo batch 90'" in wanted["taken_as"]
    # The row's coupon goes with it.
    assert wanted["walls"]["coupon_section_mm"] == 6.8


def test_settings_scale_only_where_the_part_is_said_to_be_the_wanted_one(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    box(in_folder, 30.0, 20.0, 1.0)
    (in_folder / "table.csv").write_text(table_csv(demo_table()))
    stated = '[calibration]\ntable = "table.csv"\nrow = "bronze demo batch 85"\n'
    (in_folder / "shrinkrule.toml").write_text(stated)
    assert main(["walls", "box.stl"]) == 0
    assert "box.stl is looked at as the GREEN part" in capsys.readouterr().out
    assert main(["walls", "box.stl", "--wanted", "--json"]) == 0
    wanted = json.loads(capsys.readouterr().out)
    assert wanted["oversize"]["z"] == pytest.approx(1 / (1 - 0.1426), rel=1e-9)


def test_a_green_part_is_not_scaled_again_and_factors_exclude_a_row(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    box(in_folder, 30.0, 20.0, 1.0)
    (in_folder / "box.stl").rename(in_folder / "box.green.stl")
    assert main(["walls", "box.green.stl", "--demo-table"]) == 2
    assert "enlarged a second time" in capsys.readouterr().err
    assert main(["walls", "box.green.stl", "--scale-xy", "1.2"]) == 2
    both = ["--scale-xy", "1.2", "--scale-z", "1.2", "--demo-table"]
    assert main(["walls", "box.green.stl", *both]) == 2
    assert "cannot both hold" in capsys.readouterr().err
