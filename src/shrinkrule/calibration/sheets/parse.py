"""The cells of measuring sheets as makers return them: typed by hand, saved by any spreadsheet.

Byte-order marks, semicolons, tabs and decimal commas are read as they are meant, units in a
cell are converted, and each such correction leaves a note. What cannot be trusted is refused with
file, line, column and what to do.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from shrinkrule.calibration.sheets.sheet import (
    BEAM_KINDS,
    LENGTH_KINDS,
    MASS_KINDS,
    PartLine,
    Reading,
    Sheet,
    SheetSettings,
)
from shrinkrule.errors import SettingError, SheetError
from shrinkrule.files.csv_dialect import CsvGrid, CsvRow, number_text, read_grid
from shrinkrule.sheet import FIRED_COLUMNS, GREEN_COLUMNS, LOAD_COLUMNS, Kind, Setting
from shrinkrule.units import unit_in_mm

USUAL_CALIPER_MM: Final = 0.01
USUAL_GAUGE_MM: Final = 0.05
USUAL_BALANCE_G: Final = 0.01

_KINDS: Final = frozenset(kind.value for kind in Kind)
_SETTING_IDS: Final = frozenset(setting.value for setting in Setting)
_MASS_UNITS: Final = {"g": 1.0, "kg": 1000.0, "mg": 1e-3, "oz": 28.349523125}
_FINEST_STEP_MM: Final = 0.005
"""No caliper or feeler has a finer last step in mm, nor one as coarse as that in inches."""
_UNIT_WORDS: Final = {"in": "inches"}
_MEASURED: Final = (*GREEN_COLUMNS, "debound_1", *FIRED_COLUMNS)
_LIKE_MODEL: Final = (0.6, 1.3)
"""A reading over its model's size lies between these if both are in the same unit."""
_NUMBER: Final = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)([^\d]*)")
_SHA256: Final = re.compile(r"sha256:([0-9a-f]{64})")
_NOT_MEASURED: Final = frozenset({"", "-", "--", "–", "—", "n/a", "na", "none"})
_HEADING: Final = frozenset({"id", "kind"})
_REQUIRED: Final = ("id", "kind", "nominal", GREEN_COLUMNS[0], FIRED_COLUMNS[0])


def parse_sheet(path: str | Path) -> Sheet:
    """Read a sheet cell by cell; whether its numbers make sense together is not asked here.

    Parameters
    ----------
    path : str or Path
        The CSV file.

    Returns
    -------
    Sheet
        The sheet as it was typed.

    Raises
    ------
    SheetError
        For a missing file or column, an unknown kind or unit, an id that comes twice, or a cell
        that is no number (line and column named).
    """
    grid = read_grid(Path(path), "sheet", SheetError, _HEADING)
    missing = [column for column in _REQUIRED if column not in grid.columns]
    if missing:
        raise SheetError(
            f"column {missing[0]!r} is missing",
            where=grid.where,
            hint="keep the first line of the sheet as it was handed out",
        )
    notes = list(grid.notes)
    extra = [column for column in grid.columns if column and column not in LOAD_COLUMNS]
    if extra:
        notes.append(f"column {extra[0]!r} is not of the sheet and was not read")
    cells = _Cells(grid, notes, units_of_readings_alone(grid))
    notes += [
        f"lines with the unit {unit}: readings taken in {_UNIT_WORDS.get(unit, unit)}, the model's "
        "sizes in mm"
        for unit in sorted(cells.readings_alone)
    ]
    seen: dict[str, int] = {}
    head: dict[Setting, CsvRow] = {}
    readings, parts = [], []
    for row in grid.rows:
        mark = row.cells.get("id", "").upper()
        if not mark:
            if any(row.cells.get(column) for column in ("kind", "nominal", *_MEASURED)):
                raise cells.error(row, "id", "write the mark that stands on the drawing, as X3")
            continue
        if mark in seen:
            raise SheetError(
                f"line {row.line}: {mark} already stands on line {seen[mark]}",
                where=grid.where,
                hint="delete one of the two",
            )
        seen[mark] = row.line
        kind = cells.kind(row)
        if kind is Kind.SETTING:
            if mark in _SETTING_IDS:
                head[Setting(mark)] = row
            continue
        if kind is Kind.PART:
            parts.append(cells.part(row, mark))
            continue
        readings.append(cells.reading(row, mark, kind))
    settings = cells.settings(head, Path(path).stem)
    return Sheet(grid.where, settings, tuple(readings), tuple(notes), parts=tuple(parts))


@dataclass(frozen=True)
class _Cells:
    """Reads the cells of one grid; corrections are added to ``notes``."""

    grid: CsvGrid
    notes: list[str]
    readings_alone: frozenset[str]

    def kind(self, row: CsvRow) -> Kind:
        text = row.cells.get("kind", "").lower()
        if text not in _KINDS:
            known = ", ".join(Kind)
            raise self.error(row, "kind", f"keep it as handed out, one of {known}")
        return Kind(text)

    def reading(self, row: CsvRow, mark: str, kind: Kind) -> Reading:
        axis = row.cells.get("axis", "").lower()
        if axis not in {"", "x", "y", "z"} or (kind in LENGTH_KINDS and not axis):
            raise self.error(row, "axis", "write x, y or z")
        unit = self.unit(row, "g" if kind in MASS_KINDS else "mm")
        of_model = "mm" if unit in self.readings_alone else unit
        nominal = self.quantity(row, "nominal", of_model)
        if kind in LENGTH_KINDS and not nominal:
            raise self.error(row, "nominal", "write the model's size, as it was handed out")
        remark = self.remark(row) if kind in BEAM_KINDS else ""
        fired = () if remark else self.repeats(row, FIRED_COLUMNS, unit)
        return Reading(
            line=row.line,
            id=mark,
            feature=row.cells.get("feature", ""),
            kind=kind,
            axis=axis,
            nominal=nominal,
            thickness=self.quantity(row, "thickness", of_model),
            green=self.repeats(row, GREEN_COLUMNS, unit),
            debound=self.quantity(row, "debound_1", unit),
            fired=fired,
            remark=remark,
            unit_stated=unit not in {"g", "mm"} or self.has_own_unit(row),
            sag_mm=self.signed(row, "sag"),
        )

    def part(self, row: CsvRow, letter: str) -> PartLine:
        """Line of a part; its volume is in mm3, its checksum stands in the note."""
        volume = self.signed(row, "nominal")
        if volume is not None and not volume > 0.0:
            raise self.error(row, "nominal", "keep the part's volume as it was handed out")
        found = _SHA256.search(row.cells.get("note", "").lower())
        name = row.cells.get("feature", "") or letter
        return PartLine(letter, name, volume, found[1] if found else "")

    def signed(self, row: CsvRow, column: str) -> float | None:
        """Number that the program wrote, of either sign; None where the cell is blank."""
        if row.cells.get(column, "").lower() in _NOT_MEASURED:
            return None
        return self.number(row, column)[0]

    def has_own_unit(self, row: CsvRow) -> bool:
        """Whether a unit stands behind a number of this line's readings."""
        cells = (number_text(row.cells.get(column, "")).lower() for column in _MEASURED)
        return any(match[2].strip() for match in map(_NUMBER.fullmatch, cells) if match)

    def remark(self, row: CsvRow) -> str:
        """Words in place of a drop: ``broken`` is an answer, not a slip."""
        texts = [row.cells.get(column, "") for column in FIRED_COLUMNS]
        words = [t for t in texts if t.lower() not in _NOT_MEASURED and not re.search(r"\d", t)]
        return words[0] if words else ""

    def unit(self, row: CsvRow, usual: str) -> str:
        unit = row.cells.get("unit", "").lower()
        if not unit:
            self.notes.append(f"line {row.line}: no unit, read as {usual}")
            return usual
        return unit

    def repeats(self, row: CsvRow, columns: tuple[str, ...], unit: str) -> tuple[float, ...]:
        values = (self.quantity(row, column, unit) for column in columns)
        return tuple(value for value in values if value is not None)

    def quantity(self, row: CsvRow, column: str, unit: str) -> float | None:
        """Value of a cell in mm or g; its own unit wins over the line's."""
        cell = row.cells.get(column, "")
        if cell.lower() in _NOT_MEASURED:
            return None
        number, own = self.number(row, column)
        if own and own not in _MASS_UNITS and not _is_length_unit(own):
            raise self.no_number(row, column)
        if own and own != unit:
            self.notes.append(f"line {row.line}, column {column!r}: {cell!r} converted from {own}")
        factor = self.factor(row, column, own or unit, unit in _MASS_UNITS)
        if number < 0.0:
            raise self.error(row, column, "sizes and weights are not negative; type it again")
        return number * factor

    def number(self, row: CsvRow, column: str) -> tuple[float, str]:
        """Give the number of a cell, and the unit typed behind it."""
        match = _NUMBER.fullmatch(number_text(row.cells[column]).lower())
        if match is None:
            raise self.no_number(row, column)
        return float(match[1]), match[2].strip()

    def factor(self, row: CsvRow, column: str, unit: str, is_mass: bool) -> float:
        if is_mass:
            if unit in _MASS_UNITS:
                return _MASS_UNITS[unit]
            raise self.error(row, column, "weigh in g, kg or mg", unit)
        try:
            return unit_in_mm(unit)
        except SettingError as cause:
            raise self.error(row, column, "measure in mm, cm or in", unit) from cause

    def settings(self, head: dict[Setting, CsvRow], file_stem: str) -> SheetSettings:
        def text(setting: Setting) -> str:
            return head[setting].cells.get("nominal", "") if setting in head else ""

        def value(setting: Setting, low: float, high: float) -> float | None:
            return self.setting(head[setting], low, high) if setting in head else None

        def step(setting: Setting, usual: float, unit: str) -> float:
            known = value(setting, 1e-4, 1.0)
            if known is None:
                self.notes.append(f"{setting}: no last step given, {usual:g} {unit} assumed")
            return usual if known is None else known

        return SheetSettings(
            coupon=text(Setting.COUPON) or file_stem,
            firing=text(Setting.FIRING),
            date=text(Setting.DATE),
            material=text(Setting.MATERIAL),
            process=text(Setting.PROCESS),
            metal_density=value(Setting.METAL_DENSITY, 1.0, 25.0),
            binder_density=value(Setting.BINDER_DENSITY, 0.5, 3.0),
            metal_mass_share=self.share(head.get(Setting.METAL_MASS_SHARE)),
            caliper_resolution=step(Setting.CALIPER_RESOLUTION, USUAL_CALIPER_MM, "mm"),
            gauge_resolution=step(Setting.GAUGE_RESOLUTION, USUAL_GAUGE_MM, "mm"),
            balance_resolution=step(Setting.BALANCE_RESOLUTION, USUAL_BALANCE_G, "g"),
            water_density=value(Setting.WATER_DENSITY, 0.7, 1.3),
            nozzle=value(Setting.NOZZLE, 0.05, 5.0),
            bead_width=value(Setting.BEAD_WIDTH, 0.05, 10.0),
            layer_height=value(Setting.LAYER_HEIGHT, 0.01, 5.0),
            weighed_volume=value(Setting.WEIGHED_VOLUME, 1.0, 1e9),
            weighed_surface=value(Setting.WEIGHED_SURFACE, 1.0, 1e8),
            thickest_section=value(Setting.THICKEST_SECTION, 0.1, 1e3),
            first_layer=value(Setting.FIRST_LAYER, 0.01, 5.0),
            row=text(Setting.ROW),
        )

    def setting(self, row: CsvRow, low: float, high: float) -> float | None:
        if row.cells.get("nominal", "").lower() in _NOT_MEASURED:
            return None
        number, own = self.number(row, "nominal")
        unit = own or row.cells.get("unit", "").lower()
        if not own and unit in self.readings_alone and number >= _FINEST_STEP_MM:
            # The unit was filled down the whole column; what the coupon wrote is in mm.
            unit = "mm"
        if unit in {"kg/m3", "kg/m³"} or (unit.startswith("g/c") and low <= number / 1e3 <= high):
            self.notes.append(f"line {row.line}: {number:g} taken as kg/m3")
            number *= 1e-3
        elif unit in {"in", '"', "cm", "um", "µm"}:
            number *= unit_in_mm(unit)
        if not low <= number <= high:
            raise self.error(row, "nominal", f"a value between {low:g} and {high:g} is meant")
        return number

    def share(self, row: CsvRow | None) -> float | None:
        """Metal's share of the filament's mass, as a fraction."""
        if row is None or row.cells.get("nominal", "").lower() in _NOT_MEASURED:
            return None
        number, _ = self.number(row, "nominal")
        if 0.2 < number < 1.0:
            self.notes.append(
                f"line {row.line}: {number:g} taken as a fraction, {100 * number:g} %"
            )
            number *= 100.0
        if not 20.0 <= number < 100.0:
            raise self.error(row, "nominal", "metal by mass is between 20 and 100 %")
        return number / 100.0

    def no_number(self, row: CsvRow, column: str) -> SheetError:
        return self.error(
            row,
            column,
            "write the number alone; if the spreadsheet made a date of it, set the column to text "
            "and type it again",
        )

    def error(self, row: CsvRow, column: str, hint: str, unit: str = "") -> SheetError:
        cell = row.cells.get(column, "")
        what = f"is in {unit!r}" if unit else f"holds {cell!r}" if cell else "is empty"
        return SheetError(
            f"line {row.line}, column {column!r} {what}", where=self.grid.where, hint=hint
        )


def units_of_readings_alone(grid: CsvGrid) -> frozenset[str]:
    """Units that were written into the column ``unit`` for the readings, not for the model.

    The sheet is handed out with the model's sizes in mm. A maker who measures in inches and says
    so in that column seldom converts them; the readings leave no doubt which it was.

    Parameters
    ----------
    grid : CsvGrid
        The sheet's cells.

    Returns
    -------
    frozenset of str
        The units, in lower case.
    """
    votes: dict[str, list[bool]] = {}
    for row in grid.rows:
        unit = row.cells.get("unit", "").lower()
        if row.cells.get("kind", "").lower() not in LENGTH_KINDS or not _is_length_unit(unit):
            continue
        model, *read = (_bare_number(row.cells.get(c, "")) for c in ("nominal", *_MEASURED))
        known = [value for value in read if value]
        factor = unit_in_mm(unit)
        if factor == 1.0 or not model or not known:
            continue
        low, high = _LIKE_MODEL
        votes.setdefault(unit, []).append(low < factor * known[0] / model < high)
    return frozenset(unit for unit, cast in votes.items() if 2 * sum(cast) > len(cast))


def _bare_number(cell: str) -> float | None:
    """Number of a cell that holds nothing but a number."""
    match = _NUMBER.fullmatch(number_text(cell).lower())
    return float(match[1]) if match and not match[2].strip() else None


def _is_length_unit(unit: str) -> bool:
    """Whether a unit is one of length."""
    try:
        unit_in_mm(unit)
    except SettingError:
        return False
    return True
