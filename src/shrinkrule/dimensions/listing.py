"""The full list of dimensions as a CSV, for a spreadsheet."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Final

from shrinkrule.dimensions.advice import Toleranced
from shrinkrule.dimensions.dimension import Dimension
from shrinkrule.dimensions.find import FoundDimensions
from shrinkrule.dimensions.promise import PromisedDimension

COLUMNS: Final = (
    "number", "kind", "between", "size_mm", "over_flats_mm", "places",
    "direction_x", "direction_y", "direction_z", "x_mm", "y_mm", "z_mm",
    "lower_mm", "upper_mm", "thread", "chance_pct",
    "in_print", "green_mm", "fired_mm", "half95_mm", "iso286", "iso2768",
)  # fmt: skip
"""Columns of the list; docs/file-formats.md says what they hold."""

DECIMALS: Final = 4
"""Of lengths: a tenth of a micrometre, under what a file of single precision holds."""


def dimensions_csv(
    found: FoundDimensions,
    promised: Sequence[PromisedDimension] = (),
    judged: Sequence[Toleranced] = (),
) -> str:
    """Write all dimensions as a CSV.

    Parameters
    ----------
    found : FoundDimensions
        The dimensions.
    promised : sequence of PromisedDimension
        How they will come out, in the same order; empty where no row is known.
    judged : sequence of Toleranced
        Those with limits.

    Returns
    -------
    str
        A header line and one row each, the dozen first.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    limited = {one.number: one for one in judged}
    for number, one in enumerate(found.every, start=1):
        writer.writerow(
            _cells(number, one)
            + (_limit_cells(limited[number]) if number in limited else [""] * 4)
            + (_promise_cells(promised[number - 1]) if promised else [""] * 6)
        )
    return text.getvalue()


def _cells(number: int, one: Dimension) -> list[str]:
    flats = one.over_flats_mm
    return [
        str(number),
        one.kind.value,
        one.feature.value,
        _rounded(one.size_mm),
        "" if flats is None else _rounded(flats),
        str(one.places),
        *(f"{c + 0.0:.6f}" for c in one.direction),
        *(_rounded(c) for c in one.place),
    ]


def _limit_cells(one: Toleranced) -> list[str]:
    """Limits and their chance, as they were given."""
    lower, upper = one.limits.lower_mm, one.limits.upper_mm
    return [
        "" if math.isinf(lower) else f"{lower:g}",
        "" if math.isinf(upper) else f"{upper:g}",
        "" if one.limits.thread is None else one.limits.thread.name,
        "" if one.chance is None else f"{100.0 * one.chance:.1f}",
    ]


def _promise_cells(one: PromisedDimension) -> list[str]:
    """Direction in the print, green and fired size of the reading that may be farthest off."""
    worst = one.worst
    half = worst.fired_mm.half95
    return [
        worst.along,
        _rounded(worst.green_mm),
        _rounded(worst.fired_mm.value),
        "" if half is None else _rounded(half),
        one.iso286,
        one.iso2768,
    ]


def _rounded(value: float) -> str:
    """Number with its decimals, without a minus before nought."""
    return f"{round(value, DECIMALS) + 0.0:.{DECIMALS}f}"
