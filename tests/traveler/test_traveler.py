"""The traveler: its page and sheet hold what the report predicted, and come back as one load."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from dimensions.solids import box, mesh_of
from shrinkrule import (
    Printer,
    Recipe,
    compensate,
    demo_table,
    find_row,
    job_dict,
    part_from_mesh,
    stl_bytes,
)
from shrinkrule.calibration.sheets.load import read_load
from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.cli import main
from shrinkrule.errors import SheetError
from shrinkrule.files.checksum import sha256_of
from shrinkrule.physics.interval import Interval
from shrinkrule.traveler.lines import band
from traveler.loads import ROW, SIDES_MM, fill, make_block, rows_of


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with two blocks that were made, and the traveler of both."""
    folder = tmp_path_factory.mktemp("load")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("XDG_CONFIG_HOME", str(folder / "user"))
        make_block(folder)
        make_block(folder, "plate", (40.0, 20.0, 5.0))
        command = ["traveler", "block.report.json", "plate.report.json", "--name", "load7"]
        assert main(command) == 0
    return folder


@pytest.fixture(autouse=True)
def here(made: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(made)
    monkeypatch.setenv("COLUMNS", "80")
    return made


def test_the_sheet_asks_for_what_was_printed(here: Path) -> None:
    """Outlines lie a bead's spread inside the scaled model; heights are whole layers.

    By hand: 30 mm over 0.8545 kept is 35.108 mm, less twice 0.04 mm of spread; 9 mm over 0.84 is
    10.714 mm, of which 36 layers of 0.3 are printed.
    """
    rows = {row["id"]: row for row in rows_of(here / "load7.load.csv")}
    assert float(rows["A1"]["nominal"]) == pytest.approx(30.0 / 0.8545 - 0.08, abs=1e-4)
    assert float(rows["A3"]["nominal"]) == pytest.approx(10.8, abs=1e-4)
    assert [rows[mark]["axis"] for mark in ("A1", "A2", "A3")] == ["x", "y", "z"]
    assert rows["S19"]["nominal"] == ROW
    assert rows["A"]["kind"] == "part"
    assert sha256_of(here / "block.green.stl") in rows["A"]["note"]
    volume = np.prod(SIDES_MM) / 0.8545**2 / 0.84
    assert float(rows["A"]["nominal"]) == pytest.approx(volume, rel=1e-5)


def test_bands_are_those_of_the_row(here: Path) -> None:
    rows = {row["id"]: row for row in rows_of(here / "load7.load.csv")}
    row = find_row(demo_table(), ROW, "demo table")
    half = row.at_lengths(30.0, 9.0).promise("x", 30.0).half95
    assert half is not None
    found = re.search(r"fired ([\d.]+) to ([\d.]+)", rows["A1"]["note"])
    assert found is not None
    # Rounded outward to a hundredth: never narrower than what is promised.
    low, high = float(found[1]), float(found[2])
    assert 30.0 - half - 0.01 < low <= 30.0 - half
    assert 30.0 + half <= high < 30.0 + half + 0.01


def test_a_band_is_never_narrower_than_it_should_be() -> None:
    assert band(Interval(1.0, 0.25)) == "0.75 to 1.25"
    assert band(Interval(1.0, 0.2501)) == "0.74 to 1.26"
    assert band(Interval(2.5), 1) == "about 2.5"


def test_the_page_names_each_line_of_the_sheet(here: Path) -> None:
    page = (here / "load7.traveler.html").read_text(encoding="utf-8")
    marks = [row["id"] for row in rows_of(here / "load7.load.csv") if row["id"][0] in "AB"]
    assert len(marks) > 8
    for mark in marks:
        assert f">{mark}" in page, mark
    report = json.loads((here / "block.report.json").read_text(encoding="utf-8"))
    mass = Interval(**report["prediction"]["debound_mass_g"])
    assert f"debound: fine from {band(mass)}" in page
    assert "an outline offset of <b>-0.040 mm</b>" in page
    assert page.count("data:image/png;base64,") == 4
    assert page.count("follow local codes") == 1
    assert page.count('<polygon class="part"') == 2, "both stand in the crucible, from above"
    assert "AM</td><td>block" in page
    assert not re.search(r"(src|href)=\"(?!data:)", page)


def test_two_parts_come_back_as_two_sheets(here: Path, tmp_path: Path) -> None:
    path = tmp_path / "filled.csv"
    path.write_bytes((here / "load7.load.csv").read_bytes())

    def cells(row: dict[str, str]) -> dict[str, str]:
        if row["kind"] == "mass":
            return {"green_1": "20.00", "debound_1": "18,00", "fired_1": "18.00"}
        if row["id"] == "S2":
            return {"nominal": "firing 3"}
        if row["id"] == "A1":
            return {"green_1": "35.1", "fired_1": "30.05", "fired_2": "30.06"}
        return {"fired_1": "5.01"} if row["id"] == "B3" else {}

    fill(path, cells)
    block, plate = read_load(path)
    assert (block.line.name, plate.line.letter) == ("block", "B")
    assert block.line.green_sha256 == sha256_of(here / "block.green.stl")
    assert block.sheet.settings.firing == "firing 3"
    assert block.sheet.settings.row == ROW
    assert {r.id: r.fired for r in block.sheet.readings if r.fired and r.axis} == {
        "A1": (30.05, 30.06)
    }
    assert plate.weights is not None
    assert plate.weights.debound == 18.0
    with pytest.raises(SheetError, match="sheet of a load of parts"):
        read_sheet(path)


def test_an_empty_sheet_and_a_stray_line_are_refused(here: Path, tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="no reading"):
        read_load(here / "load7.load.csv")
    path = tmp_path / "stray.csv"
    path.write_bytes((here / "load7.load.csv").read_bytes())
    fill(path, lambda row: {"id": "C1", "fired_1": "30"} if row["id"] == "A1" else {})
    with pytest.raises(SheetError, match="C1 belongs to no part"):
        read_load(path)
    coupon = next((Path(__file__).parents[2] / "sample_models" / "sheets").glob("*.csv"))
    with pytest.raises(SheetError, match="no sheet of a load"):
        read_load(coupon)


def test_a_filled_sheet_is_not_written_over(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (here / "load7.load.csv").read_bytes()
    assert main(["traveler", "block.report.json", "--name", "load7"]) == 2
    assert "may hold readings" in capsys.readouterr().err
    assert (here / "load7.load.csv").read_bytes() == before


def test_what_is_no_report_is_refused(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["traveler", "block.stl"]) == 2
    assert "no report of a green part" in capsys.readouterr().err
    report = json.loads((here / "block.report.json").read_text(encoding="utf-8"))
    (here / "hand.report.json").write_text(json.dumps({**report, "calibration": None}))
    assert main(["traveler", "hand.report.json", "--name", "hand"]) == 2
    assert "factors typed by hand" in capsys.readouterr().err
    report["calibration"]["row"]["name"] = "steel 2"
    (here / "steel.report.json").write_text(json.dumps(report))
    assert main(["traveler", "block.report.json", "steel.report.json", "--name", "two"]) == 2
    assert "a sheet of its own" in capsys.readouterr().err


def test_a_part_made_from_python_goes_with_a_traveler(here: Path) -> None:
    """A recipe without settings names its printer all the same; a job without files has a dict."""
    row = find_row(demo_table(), ROW, "demo table")
    part = part_from_mesh(mesh_of(box((30.0, 18.0, 9.0))), "made")
    result = compensate(part, Recipe(Printer.from_nozzle(0.6), row))
    assert job_dict(result, {})["recipe"]["format"] == ""
    green = here / "made.green.stl"
    green.write_bytes(stl_bytes(result.green.mesh, "made"))
    files = {"green_stl": green, "json": here / "made.report.json"}
    report = job_dict(result, files, green_sha256=sha256_of(green))
    files["json"].write_text(json.dumps(report), encoding="utf-8")
    assert main(["traveler", "made.report.json"]) == 0
    lines = {line["id"]: line for line in rows_of(here / "made.load.csv")}
    assert float(lines["S13"]["nominal"]) == 0.6
