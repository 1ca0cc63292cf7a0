"""Parts as they come back, without noise: readings are what a row makes of them, and a fault."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from promise_coverage import settings

from shrinkrule import demo_table, find_row
from shrinkrule.calibration import AXES, CalibrationRow
from shrinkrule.calibration.sheets.load import LoadedPart
from shrinkrule.calibration.sheets.sheet import PartLine, Reading, Sheet
from shrinkrule.review.readings import lengths_of
from shrinkrule.sheet import Kind

ROW = replace(find_row(demo_table(), "bronze demo batch 90", "demo table"), metal_mass_share=0.9)
LINES = (
    ("A1", Kind.OUTSIDE, "x", 46.0, 0.05),
    ("A2", Kind.OUTSIDE, "y", 35.0, 0.0),
    ("A3", Kind.OUTSIDE, "z", 24.0, -0.15),
    ("A4X", Kind.BORE, "x", 9.0, 0.0),
    ("A4Y", Kind.BORE, "y", 9.0, 0.0),
    ("A5", Kind.BORE, "x", 6.0, 0.0),
    ("A6", Kind.OUTSIDE, "x", 6.0, 0.0),
    ("A7", Kind.INSIDE, "y", 12.0, 0.0),
    ("A8", Kind.STEP, "x", 30.0, 0.0),
    ("A9", Kind.STEP, "z", 12.0, -0.08),
    ("A10", Kind.OUTSIDE, "z", 9.0, 0.0),
)

Fault = Callable[[Reading, float, float], tuple[float, float]]
"""From a reading and its sound green and fired length to what is read, mm."""


def sound(_: Reading, green: float, fired: float) -> tuple[float, float]:
    """Nothing is wrong."""
    return green, fired


def part_of(
    fault: Fault = sound,
    with_green: bool = True,
    weights: tuple[float, float] | None = None,
    row: CalibrationRow = ROW,
) -> LoadedPart:
    """A part made by a row: sizes as expected, changed by a fault; weighed green and debound."""
    blank = tuple(
        Reading(n, mark, "", kind, axis, size, None, (1.0,), None, (1.0,), sag_mm=sag)
        for n, (mark, kind, axis, size, sag) in enumerate(LINES, start=2)
    )
    head = replace(settings(9, 1), metal_mass_share=0.9)
    line = PartLine("A", "part", 5000.0, "")
    part = LoadedPart(line, Sheet("part.csv", head, blank, (), parts=(line,)))
    read = []
    for one in lengths_of(part, row):
        green, fired = fault(one.reading, one.green_mm.value, one.fired_mm.value)
        read.append(replace(one.reading, green=(green,) if with_green else (), fired=(fired,)))
    if weights is not None:
        green_g, debound = weights
        read.append(Reading(99, "AM", "", Kind.MASS, "", None, None, (green_g,), debound, ()))
    return LoadedPart(line, replace(part.sheet, readings=tuple(read)))


def printed(change: Callable[[Reading], float]) -> Fault:
    """An error of the print, mm green: the fired length follows."""

    def fault(reading: Reading, green: float, fired: float) -> tuple[float, float]:
        more = change(reading)
        kept = 1.0 - ROW.along(AXES["xyz".index(reading.axis)]).shrinkage.value
        return green + more, fired + kept * more

    return fault


def fired(change: Callable[[Reading, float], float]) -> Fault:
    """An error of the furnace, mm fired."""

    def fault(reading: Reading, green: float, fired_mm: float) -> tuple[float, float]:
        return green, fired_mm + change(reading, green)

    return fault
