"""Limits that a maker wrote into the list of dimensions, and the chance that the next part keeps.

The chance is that of the row's one promise, asked at every confidence instead of 95 % alone: half
of what an interval leaves out lies on either side of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from shrinkrule.dimensions.dimension import Dimension, Kind
from shrinkrule.dimensions.promise import Making, Reading, readings_of
from shrinkrule.dimensions.threads import COARSE_PITCHES, Thread, coarse_thread
from shrinkrule.errors import TableError
from shrinkrule.files.csv_dialect import CsvRow, number_text, read_grid

SAME_SIZE_MM: Final = 0.1
"""Difference between the listed and the found size up to which a row is found again."""

SAME_WAY: Final = 0.999
"""Cosine between the listed and the found direction, at least."""

SURE: Final = 1.0 - 1e-6
"""Confidence beyond which a chance is not told apart from certainty."""

STEPS: Final = 40
"""Halvings of the confidence, down to rounding."""


@dataclass(frozen=True)
class Limits:
    """Limits of one dimension, mm; infinite where there is none.

    Of a bore to be tapped, those of its thread's minor diameter.
    """

    lower_mm: float
    upper_mm: float
    thread: Thread | None = None


def read_limits(path: Path, found: Sequence[Dimension]) -> dict[int, Limits]:
    """Read the limits out of an edited list of dimensions.

    Rows are found again by their kind, direction and size, and by their place where several are
    alike, so that a new export of the model does not lose them.

    Parameters
    ----------
    path : Path
        List as the command wrote it, with ``lower_mm`` and ``upper_mm`` filled in.
    found : sequence of Dimension
        Dimensions of the part now.

    Returns
    -------
    dict of int to Limits
        Limits by place in ``found``, from 0.

    Raises
    ------
    TableError
        For a file or a cell that cannot be read, limits the wrong way round, or a row with limits
        that the part has no dimension for.
    """
    grid = read_grid(path, "list of dimensions")
    needed = {"kind", "size_mm", "lower_mm", "upper_mm", "direction_x", "x_mm"}
    if lost := sorted(needed - set(grid.columns)):
        raise TableError(
            f"there is no column {lost[0]}",
            where=grid.where,
            hint="fill in the list that the command dimensions writes",
        )
    limits: dict[int, Limits] = {}
    for row in grid.rows:
        lower = _number(row, "lower_mm", grid.where, -math.inf)
        upper = _number(row, "upper_mm", grid.where, math.inf)
        thread = _thread(row, grid.where)
        if thread is not None:
            lower, upper = thread.minor_limits_mm
        if math.isinf(lower) and math.isinf(upper):
            continue
        if not lower < upper:
            raise TableError(
                f"line {row.line}: the lower limit {lower:g} is not under the upper {upper:g}",
                where=grid.where,
                hint="give both as sizes in mm",
            )
        limits[_found_again(row, found, grid.where, limits)] = Limits(lower, upper, thread)
    return limits


def _thread(row: CsvRow, where: str) -> Thread | None:
    """Thread that a bore is to be tapped with, in place of limits."""
    name = row.cells.get("thread", "").strip()
    if not name:
        return None
    if row.cells["kind"] != Kind.BORE.value:
        raise TableError(
            f"line {row.line}: a thread is cut into a bore, not into {row.cells['kind']}",
            where=where,
            hint="take it out",
        )
    thread = coarse_thread(name)
    if thread is None:
        raise TableError(
            f"line {row.line}: {name!r} is no metric coarse thread that is known here",
            where=where,
            hint=f"one of {', '.join(COARSE_PITCHES)}, or limits in mm",
        )
    return thread


def _number(row: CsvRow, column: str, where: str, blank: float = math.nan) -> float:
    text = number_text(row.cells.get(column, ""))
    if not text and not math.isnan(blank):
        return blank
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise TableError(
            f"line {row.line}: {text!r} is no number", where=where, hint=f"look at {column}"
        )
    return value


def _found_again(
    row: CsvRow, found: Sequence[Dimension], where: str, taken: dict[int, Limits]
) -> int:
    """Place of the dimension that a row of the list speaks of."""
    size = _number(row, "size_mm", where)
    way = np.array([_number(row, f"direction_{axis}", where) for axis in "xyz"])
    place = np.array([_number(row, f"{axis}_mm", where) for axis in "xyz"])
    alike = [
        (abs(one.size_mm - size), float(np.linalg.norm(place - one.place)), k)
        for k, one in enumerate(found)
        if one.kind.value == row.cells["kind"]
        and abs(one.size_mm - size) <= SAME_SIZE_MM
        and abs(float(way @ one.direction)) >= SAME_WAY
        and k not in taken
    ]
    if not alike:
        raise TableError(
            f"line {row.line}: the part has no {row.cells['kind']} of {size:g} mm any more",
            where=where,
            hint="take its limits out, or write a new list",
        )
    # Sizes of one model differ by rounding alone; places tell equal sizes apart.
    return min(alike, key=lambda row: (round(row[0], 3), row[1]))[2]


def chance_of(
    dimension: Dimension, limits: Limits, making: Making, moved_mm: float = 0.0
) -> float | None:
    """Chance that the next part keeps limits.

    Parameters
    ----------
    dimension : Dimension
        Of the wanted part.
    limits : Limits
        What it may measure.
    making : Making
        How the part is made.
    moved_mm : float
        How much larger the fired size is made than it is expected now, mm.

    Returns
    -------
    float or None
        Of the worst reading; None where no coupon shows what such a length does.
    """
    readings = readings_of(dimension, making)
    if any(reading.fired_mm.half95 is None for reading in readings):
        return None
    below = np.array(_below(dimension, making, limits.upper_mm - moved_mm, readings))
    above = np.array(_below(dimension, making, limits.lower_mm - moved_mm, readings))
    return float(np.clip(below - above, 0.0, 1.0).min())


def _below(
    dimension: Dimension, making: Making, size_mm: float, readings: tuple[Reading, ...]
) -> list[float]:
    """Chance of each reading that the next part measures less than a size."""
    if math.isinf(size_mm):
        return [float(size_mm > 0.0)] * len(readings)
    found = []
    for k, reading in enumerate(readings):
        reach = abs(size_mm - reading.fired_mm.value)
        low, high = 0.0, SURE
        for _ in range(STEPS):
            middle = 0.5 * (low + high)
            half = readings_of(dimension, making, middle)[k].fired_mm.half95 or 0.0
            low, high = (middle, high) if half < reach else (low, middle)
        inside = 0.5 * (low + high)
        above = size_mm > reading.fired_mm.value
        found.append(0.5 + 0.5 * inside if above else 0.5 - 0.5 * inside)
    return found
