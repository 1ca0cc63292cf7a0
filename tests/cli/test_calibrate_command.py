"""``shrinkrule calibrate`` as a maker uses it."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from pathlib import Path

import make_sheets
import pytest

from shrinkrule import find_row, read_table
from shrinkrule.calibration import Ladder
from shrinkrule.cli import main

SHEETS = sorted((Path(__file__).parents[2] / "sample_models" / "sheets").glob("*.csv"))
NAMES = [str(sheet) for sheet in SHEETS]
ROW = ["--table", "table.csv", "--row", "bronze 3"]


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    return tmp_path


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_the_demo_sheets_are_what_their_script_makes(in_folder: Path) -> None:
    made = make_sheets.filled_sheets(make_sheets.Truth(), make_sheets.DEMO_COUPONS)
    assert len(made) == len(SHEETS)
    for (firing, coupon), text in made.items():
        kept = next(s for s in SHEETS if s.name.endswith(f"firing{firing}_coupon{coupon}.csv"))
        assert kept.read_text(encoding="utf-8") == text.replace("\r\n", "\n")


def test_it_writes_row_and_reports(in_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calibrate", *NAMES, *ROW]) == 0
    assert names(in_folder) == {
        ".table.csv.lock",
        "table.csv",
        "bronze_3.fit.html",
        "bronze_3.fit.json",
    }
    (row,) = read_table("table.csv")
    truth = make_sheets.Truth()
    # Three firings: three true standard errors.
    assert row.shrinkage_xy.value == pytest.approx(truth.shrinkage_x, abs=0.002)
    assert row.shrinkage_z.value == pytest.approx(truth.shrinkage_z, abs=0.002)
    assert (row.coupons, row.firings, row.firing_scatter_known) == (4, 3, True)
    shown = capsys.readouterr().out
    assert re.search(
        r"Your next 40 mm will come out 40\.00 ± 0\.\d\d mm along X, ± 0\.\d\d along", shown
    )
    assert "bronze_3.fit.html" in shown
    assert max(len(line) for line in shown.splitlines()) <= 80
    assert len(shown.splitlines()) <= 24


def test_the_row_is_ready_for_the_main_job(in_folder: Path) -> None:
    assert main(["calibrate", *NAMES, *ROW]) == 0
    model = SHEETS[0].parents[1] / "lever_arm.stl"
    assert main(["compensate", str(model), "-t", "table.csv", "-r", "bronze 3", "--no-sag"]) == 0
    report = json.loads(Path("lever_arm.report.json").read_text())
    row = find_row(read_table("table.csv"), "bronze 3", "table")
    for axis in ("x", "y"):
        assert report["oversize"][axis] == pytest.approx(row.along(axis).factor)


def test_it_asks_before_it_replaces(
    in_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["calibrate", *NAMES[:2], *ROW]) == 0
    before = Path("table.csv").read_bytes()
    capsys.readouterr()
    assert main(["calibrate", *NAMES, *ROW]) == 2, "nobody answered"
    assert "--yes" in capsys.readouterr().err
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    assert main(["calibrate", *NAMES, *ROW]) == 2
    assert Path("table.csv").read_bytes() == before
    monkeypatch.setattr("sys.stdin", io.StringIO("y\n"))
    assert main(["calibrate", *NAMES, *ROW]) == 0
    old, new = read_table("table.csv")
    assert (old.name, bool(old.replaced), old.coupons) == ("bronze 3, 2026-11-01", True, 2)
    assert (new.name, new.replaced, new.coupons) == ("bronze 3", "", 4)
    assert main(["calibrate", *NAMES, *ROW, "--yes"]) == 0
    assert len(read_table("table.csv")) == 3


def test_it_asks_before_it_writes_a_row_with_something_wrong(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = SHEETS[0].read_text(encoding="utf-8")
    wrong = in_folder / "wrong.csv"
    line = next(line for line in text.splitlines() if line.startswith("M1,"))
    cells = line.split(",")
    green = next(i for i, c in enumerate(cells) if re.fullmatch(r"\d+\.\d\d", c))
    cells[green] = f"{float(cells[green]) * 1.2:.2f}"
    wrong.write_text(text.replace(line, ",".join(cells)), encoding="utf-8")
    assert main(["calibrate", "wrong.csv", *ROW]) == 2
    assert "metal was lost" in capsys.readouterr().err
    assert names(in_folder) == {"wrong.csv"}


def test_without_a_table_it_only_reports(in_folder: Path) -> None:
    assert main(["calibrate", *NAMES[:1], "--row", "try"]) == 0
    assert names(in_folder) == {"try.fit.html", "try.fit.json"}


def test_json_on_the_screen_is_the_file(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["calibrate", *NAMES, "--row", "try", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    kept = json.loads(Path("try.fit.json").read_text())
    assert {k: v for k, v in shown.items() if k != "created"} == {
        k: v for k, v in kept.items() if k != "created"
    }
    assert shown["schema"] == "shrinkrule.fit"
    assert shown["axes"]["z"]["shrinkage"]["value"] == pytest.approx(0.16, abs=0.002)
    assert len(shown["axes"]["xy"]["readings"]) == 4 * 24
    assert shown["interval_is_lower_bound"] is False


def test_the_report_stands_alone_and_opens_with_what_matters(in_folder: Path) -> None:
    assert main(["calibrate", *NAMES[:1], "--row", "<one> & only"]) == 0
    text = next(in_folder.glob("*.html")).read_text(encoding="utf-8")
    assert not re.search(r"(src|href)=\"(?!data:)", text), "it loads nothing"
    assert "<one>" not in text
    assert text.index("one firing does not show how firings differ") < text.index("<h2>")
    assert text.count("<img ") == 4
    assert text.count('alt="') == 4
    assert "protection" in text


def test_leaving_out_is_told(in_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calibrate", *NAMES, *ROW, "--leave-out", "1:X1", "--leave-out", "z3"]) == 0
    assert "left out as asked: 1:X1, z3" in capsys.readouterr().out
    assert "left out" in read_table("table.csv")[0].note


@pytest.mark.parametrize("arguments", [["none.csv"], ["."], [NAMES[0], NAMES[0]]])
def test_what_cannot_be_fitted_is_refused_in_one_line(
    arguments: list[str], in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["calibrate", *arguments, *ROW]) == 2
    told = capsys.readouterr().err
    assert told.startswith("shrinkrule: ")
    assert len(told.splitlines()) == 1
    assert names(in_folder) == set()


def test_a_sheet_is_never_overwritten(in_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = in_folder / "coupon.csv"
    sheet.write_bytes(SHEETS[0].read_bytes())
    assert main(["calibrate", "coupon.csv", "--table", "coupon.csv", "--yes"]) == 2
    assert sheet.read_bytes() == SHEETS[0].read_bytes()


def test_a_row_is_fitted_again_with_more(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["calibrate", *NAMES, "--leave-out", "2:X3", "--table", "all.csv"]) == 0
    assert main(["calibrate", *NAMES[:3], "--leave-out", "2:X3", *ROW]) == 0
    (row,) = read_table("table.csv")
    assert [(in_folder / one.file).resolve() for one in row.evidence] == SHEETS[:3]
    assert main(["calibrate", NAMES[3], *ROW, "--more", "--yes"]) == 0
    (whole,), (old, again) = read_table("all.csv"), read_table("table.csv")
    assert old == replace(row, name=old.name, replaced=old.replaced)
    assert again == replace(whole, name="bronze 3")
    assert again.left_out == ("2:X3",)
    capsys.readouterr()
    assert main(["calibrate", NAMES[3], "--more"]) == 2
    assert "--table" in capsys.readouterr().err


def test_a_row_states_the_printer_of_its_coupons(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The demo's sheets were printed with 0.6 mm; its walls of under 0.8 mm are missing."""
    assert main(["calibrate", *NAMES[:3], *ROW]) == 0
    (row,) = read_table("table.csv")
    assert (row.nozzle_mm, row.bead_width_mm, row.layer_height_mm) == (0.6, 0.66, 0.3)
    assert row.walls == Ladder(0.83, 0.66, 3)
    other = in_folder / "other.csv"
    text = SHEETS[3].read_text(encoding="utf-8")
    line = next(line for line in text.splitlines() if line.startswith("S13,"))
    other.write_text(text.replace(line, line.replace(",0.6,", ",0.8,")), encoding="utf-8")
    capsys.readouterr()
    assert main(["calibrate", *NAMES[:3], "other.csv", *ROW, "--yes"]) == 2
    refused = capsys.readouterr().err
    assert "nozzles of 0.6, 0.8 mm" in refused
    assert "--pool-printers" in refused
    assert main(["calibrate", *NAMES[:3], "other.csv", *ROW, "--yes", "--pool-printers"]) == 0
    pooled = find_row(read_table("table.csv"), "bronze 3", "table")
    assert (pooled.nozzle_mm, pooled.bead_width_mm) == (None, 0.66)
