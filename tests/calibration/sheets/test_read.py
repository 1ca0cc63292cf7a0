"""Sheets as spreadsheets and tired people leave them: mended, or refused with the place."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from make_sheets import Truth, filled_sheets

from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.calibration.sheets.sheet import Sheet
from shrinkrule.errors import SheetError
from shrinkrule.sheet import FIRED_COLUMNS, GREEN_COLUMNS, Kind

GOOD = filled_sheets(Truth(), (1,))[1, 1]
Row = dict[str, str]


def write(folder: Path, data: str | bytes) -> Path:
    path = folder / "coupon1.csv"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return path


def changed(change: Callable[[Row], object], text: str = GOOD) -> str:
    """Sheet with every row passed through ``change``."""
    reader = csv.DictReader(io.StringIO(text, newline=""))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, reader.fieldnames or [])
    writer.writeheader()
    for row in reader:
        change(row)
        writer.writerow(row)
    return out.getvalue()


def cell(mark: str, column: str, value: str) -> str:
    """Sheet with one cell changed."""
    return changed(lambda row: row.update({column: value}) if row["id"] == mark else None)


def lengths(sheet: Sheet) -> list[tuple[float, ...]]:
    return [(*r.green, *r.fired) for r in sheet.readings if r.is_length]


@pytest.fixture
def good(tmp_path: Path) -> Sheet:
    return read_sheet(write(tmp_path, GOOD))


def test_a_good_sheet_needs_no_mending(good: Sheet) -> None:
    assert good.notes == ()
    assert good.settings.material == "bronze demo batch"
    assert good.settings.metal_mass_share == 0.9
    assert good.settings.metal_density == 8.8
    assert sum(r.is_length for r in good.readings) == 34
    x1 = next(r for r in good.readings if r.id == "X1")
    assert (x1.kind, x1.axis, x1.nominal) == (Kind.OUTSIDE, "x", 42.0)
    assert len(x1.green) == 2


def decimal_comma(row: Row) -> None:
    for column in ("nominal", "thickness", *GREEN_COLUMNS, "debound_1", *FIRED_COLUMNS):
        row[column] = re.sub(r"(\d)\.(\d)", r"\1,\2", row[column])


def with_delimiter(text: str, delimiter: str) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows(csv.reader(io.StringIO(text, newline="")))
    return out.getvalue()


def exchanged(row: Row) -> None:
    if row["kind"] != "setting":
        for green, fired in zip(GREEN_COLUMNS, FIRED_COLUMNS, strict=True):
            row[green], row[fired] = row[fired], row[green]


def in_inches(row: Row) -> None:
    if row["kind"] in {"outside", "inside", "step"}:
        for column in (*GREEN_COLUMNS, *FIRED_COLUMNS):
            row[column] = row[column] and f"{float(row[column]) / 25.4:.5f}"


def in_stated_inches(row: Row) -> None:
    if row["kind"] in {"outside", "inside", "step"}:
        row["unit"] = "in"
        for column in ("nominal", *GREEN_COLUMNS, *FIRED_COLUMNS):
            row[column] = row[column] and f"{float(row[column]) / 25.4:.6f}"


def without_units(row: Row) -> None:
    row["unit"] = ""


MENDED: list[tuple[str, str | bytes, str]] = [
    ("byte-order mark", b"\xef\xbb\xbf" + GOOD.encode(), ""),
    ("UTF-16", GOOD.encode("utf-16"), "UTF-16"),
    ("semicolons and decimal commas", with_delimiter(changed(decimal_comma), ";"), "semicolon"),
    ("tabs", with_delimiter(GOOD, "\t"), "tab"),
    ("quoted decimal commas", changed(decimal_comma), ""),
    ("exchanged", changed(exchanged), "exchanged"),
    ("inches under mm", changed(in_inches), "inches"),
    ("inches as stated", changed(in_stated_inches), ""),
    ("missing units", changed(without_units), "read as mm"),
    ("unit in a cell", cell("X1", "green_1", "4.208 cm"), "converted from cm"),
    ("capital letters", changed(lambda row: row.update(kind=row["kind"].upper())), ""),
    ("share as a fraction", cell("S8", "nominal", "0.9"), "fraction"),
    ("density in kg/m3", cell("S6", "nominal", "8800"), "kg/m3"),
    ("caliper not given", cell("S9", "nominal", ""), "no last step given"),
]


@pytest.mark.parametrize(("data", "note"), [m[1:] for m in MENDED], ids=[m[0] for m in MENDED])
def test_it_is_mended_to_the_same_numbers(
    good: Sheet, data: str | bytes, note: str, tmp_path: Path
) -> None:
    mended = read_sheet(write(tmp_path, data))
    for found, expected in zip(lengths(mended), lengths(good), strict=True):
        # An inch sheet keeps five decimals of an inch.
        assert found == pytest.approx(expected, abs=3e-4)
    assert mended.settings.metal_density == pytest.approx(8.8)
    assert mended.settings.metal_mass_share == pytest.approx(0.9)
    assert any(note in said for said in mended.notes) if note else not mended.notes


def emptied(columns: tuple[str, ...]) -> str:
    def clear(row: Row) -> None:
        row.update(dict.fromkeys(columns, ""))

    return changed(clear)


def swapped_line(row: Row) -> None:
    if row["id"] == "X2":
        exchanged(row)


REFUSED: list[tuple[str, str, tuple[str, ...]]] = [
    (
        "text in a number",
        cell("X3", "fired_1", "14.16 about"),
        ("line 25", "'fired_1'", "14.16 ab"),
    ),
    ("a date made of a number", cell("X4", "green_1", "08. Aug"), ("line 26", "'green_1'", "date")),
    ("two numbers", cell("X3", "fired_1", "14.16 14.15"), ("line 25", "'fired_1'")),
    ("not a number", cell("X3", "fired_1", "nan"), ("line 25", "'fired_1'")),
    ("a thousands mark", cell("S16", "nominal", "5,068.43"), ("line 17", "'nominal'")),
    ("negative", cell("X3", "fired_1", "-14.16"), ("line 25", "'fired_1'", "not negative")),
    (
        "fired larger than green",
        cell("X3", "fired_1", "16.9"),
        ("line 25", "'fired_1..3'"),
    ),
    ("one line exchanged", changed(swapped_line), ("line 24", "X2", "far from the model")),
    ("green of another line", cell("X3", "green_1", "28.5"), ("line 25", "disagree")),
    ("a lost digit", cell("X3", "green_1", "1.65"), ("line 25", "disagree")),
    ("an empty green column", emptied(GREEN_COLUMNS), ("'green_1'", "green")),
    ("an empty fired column", emptied(FIRED_COLUMNS), ("'fired_1'", "fired")),
    ("an unknown unit", cell("X3", "unit", "furlong"), ("line 25", "furlong")),
    ("an unknown kind", cell("X3", "kind", "length"), ("line 25", "'kind'", "outside")),
    ("no model size", cell("X3", "nominal", ""), ("line 25", "'nominal'")),
    ("no axis", cell("X3", "axis", ""), ("line 25", "'axis'")),
    ("an id twice", cell("X3", "id", "X2"), ("line 25", "line 24")),
    ("no header", GOOD.split("\r\n", 1)[1], ("'id'", "missing")),
    ("heavier fired", cell("M1", "fired_1", "52.03"), ("M1", "gained weight")),
    ("a density of stone", cell("S6", "nominal", "0.2"), ("line 7", "between")),
    ("metal share of binder", cell("S8", "nominal", "10"), ("line 9", "20 and 100")),
]


@pytest.mark.parametrize(("text", "told"), [r[1:] for r in REFUSED], ids=[r[0] for r in REFUSED])
def test_it_is_refused_with_file_line_and_column(
    text: str, told: tuple[str, ...], tmp_path: Path
) -> None:
    with pytest.raises(SheetError) as refusal:
        read_sheet(write(tmp_path, text))
    message = str(refusal.value)
    assert message.startswith("coupon1.csv: ")
    assert ";" in message, "it tells a mend"
    for part in told:
        assert part in message


def test_a_single_reading_larger_fired_than_green_is_refused(tmp_path: Path) -> None:
    single = filled_sheets(Truth(repeats=1), (1,))[1, 1]

    def grow(row: Row) -> None:
        if row["id"] == "X3":
            row["fired_1"] = "16.9"

    with pytest.raises(SheetError, match=r"line 25, column 'fired_1': X3 is larger fired"):
        read_sheet(write(tmp_path, changed(grow, single)))


def test_a_length_measured_once_is_told_and_left_aside(tmp_path: Path) -> None:
    text = changed(
        lambda row: row.update(dict.fromkeys(FIRED_COLUMNS, "")) if row["id"] == "X3" else None
    )
    sheet = read_sheet(write(tmp_path, text))
    assert sheet.notes == ("not measured both times: X3",)


@pytest.mark.parametrize("word", ["broken", "touched the rail"])
def test_words_in_place_of_a_drop_are_an_answer(word: str, tmp_path: Path) -> None:
    sheet = read_sheet(write(tmp_path, cell("B3", "fired_1", word)))
    beam = next(r for r in sheet.readings if r.id == "B3")
    assert (beam.remark, beam.fired) == (word, ())


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(SheetError):
            read_sheet(path)


def test_weights_that_are_exchanged_with_the_lengths_are_put_right(tmp_path: Path) -> None:
    sheet = read_sheet(write(tmp_path, changed(exchanged)))
    block = next(r for r in sheet.readings if r.kind is Kind.MASS)
    assert block.green[0] > block.fired[0]


def test_a_length_of_nothing_is_refused_with_its_cell(tmp_path: Path) -> None:
    nothing = changed(lambda row: row.update(green_1="0", fired_1="0") if row["id"] == "X1" else 0)
    with pytest.raises(SheetError, match=r"column 'green_1': X1 is 0 mm green"):
        read_sheet(write(tmp_path, nothing))
