"""Units that were meant, and cells that must not act: each was once read wrongly or let through."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from make_sheets import Truth, filled_sheets

from shrinkrule.calibration import fit_sheets, read_sheet, read_table, row_from_fit
from shrinkrule.calibration.sheets.sheet import Sheet
from shrinkrule.calibration.table.write import table_csv
from shrinkrule.cli import main
from shrinkrule.errors import SheetError
from shrinkrule.sheet import FIRED_COLUMNS, GREEN_COLUMNS, Kind, SheetLine, sheet_csv

GOOD = filled_sheets(Truth(), (1,))[1, 1]
LENGTHS = {"outside", "inside", "step"}
DROPS = {"bridge", "cantilever"}
Row = dict[str, str]


def changed(change: Callable[[Row], object]) -> str:
    reader = csv.DictReader(io.StringIO(GOOD, newline=""))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, reader.fieldnames or [])
    writer.writeheader()
    for row in reader:
        change(row)
        writer.writerow(row)
    return out.getvalue()


def cell(mark: str, column: str, value: str) -> str:
    return changed(lambda row: row.update({column: value}) if row["id"] == mark else None)


def read(folder: Path, text: str) -> Sheet:
    path = folder / "coupon1.csv"
    path.write_text(text, encoding="utf-8", newline="")
    return read_sheet(path)


def in_inches(row: Row, kinds: set[str], digits: int = 5) -> None:
    if row["kind"] in kinds:
        for column in (*GREEN_COLUMNS, *FIRED_COLUMNS):
            row[column] = row[column] and f"{float(row[column]) / 25.4:.{digits}f}"


def unit_told(row: Row) -> None:
    in_inches(row, LENGTHS)
    if row["kind"] in LENGTHS:
        row["unit"] = "in"


def readings(sheet: Sheet) -> list[float]:
    return [value for r in sheet.readings for value in (*r.green, *r.fired)]


@pytest.fixture
def good(tmp_path: Path) -> Sheet:
    return read(tmp_path, GOOD)


def test_inches_told_in_the_unit_column_are_converted_once(good: Sheet, tmp_path: Path) -> None:
    """The model's sizes are handed out in mm and stay so; without weights nothing convicts a
    second conversion, and the bead was 25 times too wide."""
    sheet = read(tmp_path, changed(unit_told))
    assert readings(sheet) == pytest.approx(readings(good), abs=3e-4)
    assert [r.nominal for r in sheet.readings] == [r.nominal for r in good.readings]
    bead = fit_sheets((sheet,)).printing.bead.value
    assert bead == pytest.approx(fit_sheets((good,)).printing.bead.value, abs=1e-3)
    assert (
        "lines with the unit in: readings taken in inches, the model's sizes in mm" in sheet.notes
    )


@pytest.mark.parametrize(("step", "known"), [("0.01", 0.01), ("0.0005", 0.0127)])
def test_a_unit_filled_down_the_whole_column_is_that_of_the_readings(
    step: str, known: float, good: Sheet, tmp_path: Path
) -> None:
    """Nozzle and layers were written in mm; a step typed anew is in inches where it is as fine."""

    def everywhere(row: dict[str, str]) -> None:
        unit_told(row)
        if row["kind"] == "setting" and row["unit"] == "mm":
            row["unit"] = "in"
        if row["id"] == "S9":
            row["nominal"] = step

    settings = read(tmp_path, changed(everywhere)).settings
    assert settings.caliper_resolution == pytest.approx(known)
    told = replace(good.settings, caliper_resolution=settings.caliper_resolution)
    assert settings == told


def test_feeler_drops_in_mm_on_a_sheet_in_inches_stay(good: Sheet, tmp_path: Path) -> None:
    """A drop of 0.61 in is more than seven times the beam's depth."""
    sheet = read(tmp_path, changed(lambda row: in_inches(row, LENGTHS)))
    assert readings(sheet) == pytest.approx(readings(good), abs=3e-4)
    assert any("drops as mm" in note for note in sheet.notes)


def test_drops_in_inches_on_a_sheet_in_inches_are_converted(good: Sheet, tmp_path: Path) -> None:
    sheet = read(tmp_path, changed(lambda row: in_inches(row, LENGTHS | DROPS)))
    assert readings(sheet) == pytest.approx(readings(good), abs=3e-4)
    assert any("drops too" in note for note in sheet.notes)


def test_drops_that_may_be_in_either_unit_are_refused(tmp_path: Path) -> None:
    """0.055: a leaf of 0.05 mm can read it, and 1.4 mm is under half the depth of 3 mm."""

    def change(row: Row) -> None:
        in_inches(row, LENGTHS)
        if row["kind"] in DROPS:
            row.update(fired_1="0.055", thickness="2.97")

    with pytest.raises(SheetError, match=r"may be in inches or in mm; write the unit behind"):
        read(tmp_path, changed(change))


def test_a_line_whose_unit_stands_in_its_cells_is_not_guessed_at(
    good: Sheet, tmp_path: Path
) -> None:
    def change(row: Row) -> None:
        if row["id"] in {"X1", "B1"}:
            for column in (*GREEN_COLUMNS, *FIRED_COLUMNS):
                row[column] = row[column] and row[column] + "mm"
        elif row["id"] != "T1":
            in_inches(row, LENGTHS | {"wall", "floor"} | DROPS)

    assert readings(read(tmp_path, changed(change))) == pytest.approx(readings(good), abs=3e-4)


def test_fired_equal_to_green_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match=r"line 25, column 'fired_1': X3 is 16\.56 mm fired and"):
        read(tmp_path, changed(lambda row: equal(row) if row["id"] == "X3" else None))


def equal(row: Row) -> None:
    for green, fired in zip(GREEN_COLUMNS, FIRED_COLUMNS, strict=True):
        row[fired] = row[green]


@pytest.mark.parametrize("off", [0.0, 0.01])
def test_green_sizes_typed_as_fired_are_refused_as_a_whole(off: float, tmp_path: Path) -> None:
    def change(row: Row) -> None:
        if row["kind"] in LENGTHS:
            equal(row)
            for column in FIRED_COLUMNS:
                row[column] = row[column] and f"{float(row[column]) - off:.2f}"

    with pytest.raises(SheetError, match="the fired lengths are the green ones"):
        read(tmp_path, changed(change))


def test_a_sheet_over_ten_megabytes_is_refused_unread(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "video.csv"
    with path.open("wb") as file:
        file.truncate(11_000_000)
    monkeypatch.setattr(Path, "read_bytes", lambda _: pytest.fail("it was read"))
    with pytest.raises(SheetError, match="11 MB"):
        read_sheet(path)


@pytest.mark.parametrize(
    ("head", "delimiter"),
    [
        ("sep=;\r\n", ";"),
        ('"sep=;"\r\n', ";"),
        ("sep=\t\r\n", "\t"),
        ("Coupon 1, second firing\r\n", ","),
        ("Coupon 1; second firing, 3.4.\r\n\r\n", ";"),
        ("sep=;\r\nCoupon 1\r\n", ";"),
    ],
)
def test_what_stands_above_the_heading_is_read_past(
    head: str, delimiter: str, good: Sheet, tmp_path: Path
) -> None:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows(csv.reader(io.StringIO(GOOD, newline="")))
    sheet = read(tmp_path, head + out.getvalue())
    assert readings(sheet) == readings(good)
    assert sheet.settings.weighed_volume == good.settings.weighed_volume
    assert any("read past" in note for note in sheet.notes) == ("Coupon" in head)
    above = len(head.splitlines())
    assert [r.line for r in sheet.readings] == [r.line + above for r in good.readings]


def test_a_blank_id_is_said_to_be_blank(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="line 25, column 'id' is empty; write the mark"):
        read(tmp_path, changed(lambda row: row["id"] in {"X3", "X4"} and row.update(id="")))


def test_a_line_without_mark_and_numbers_is_a_remark(good: Sheet, tmp_path: Path) -> None:
    sheet = read(tmp_path, GOOD + ",measured on a cold day,,,,,,,,,,,,,\r\n" * 2)
    assert readings(sheet) == readings(good)


EVIL = "=HYPERLINK(1)\x1b[2J\u202e"


def test_no_cell_of_a_sheet_acts_in_a_spreadsheet_or_on_a_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)

    def change(row: Row) -> None:
        if row["id"] in {"S1", "S4", "S5"}:
            row["nominal"] = EVIL
        if row["id"] == "B1":
            row["fired_1"] = "\x1b]broken\x07"

    Path("coupon1.csv").write_text(changed(change), encoding="utf-8", newline="")
    assert main(["calibrate", "coupon1.csv", "--table", "t.csv", "--row", "=a", "-y"]) == 0
    shown = capsys.readouterr()
    for text in (shown.out, shown.err, Path("t.csv").read_text("utf-8")):
        assert "\x1b]" not in text
        assert "[2J" not in text or "\x1b[2J" not in text
        assert "\u202e" not in text
    written = list(csv.reader(io.StringIO(Path("t.csv").read_text("utf-8"))))[1]
    assert not [text for text in written if text.startswith(("=", "@", "+"))]
    (row,) = read_table("t.csv")
    assert (row.name, row.material) == ("=a", "=HYPERLINK(1) [2J")


def test_a_bad_cell_is_named_without_its_control_characters(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    name = "a\x1b[31mb.csv"
    Path(name).write_text(cell("X3", "unit", "\x1b[2Jfurlong"), encoding="utf-8", newline="")
    assert main(["calibrate", name]) == 2
    said = capsys.readouterr().err
    assert "furlong" in said
    assert "\x1b" not in said
    assert len(said.splitlines()) == 1


def test_the_empty_sheet_holds_no_formula() -> None:
    text = sheet_csv([SheetLine("S4", "material", Kind.SETTING, nominal="@SUM(1)")])
    assert next(iter(csv.DictReader(io.StringIO(text))))["nominal"] == "'@SUM(1)"


def test_a_row_s_text_comes_back_as_it_was(good: Sheet, tmp_path: Path) -> None:
    row = row_from_fit(fit_sheets((good,)), "-3 % bronze", "+ a note")
    path = tmp_path / "t.csv"
    path.write_text(table_csv((row,)), encoding="utf-8", newline="")
    (back,) = read_table(path)
    assert (back.name, back.note) == ("-3 % bronze", "+ a note")
