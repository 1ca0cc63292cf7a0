"""How finely a file writes its coordinates: the noise that every recognised surface stands in.

A binary file rounds to single precision. A text file rounds to a decimal place or to a number of
digits; which of the two shows in the decimals of large and of small coordinates.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats

VALUES_LOOKED_AT: Final = 20_000
"""Coordinates that are looked at, spread over the file."""

FEWEST_VALUES: Final = 50
"""Different coordinates under which round numbers are the model's own and no rounding, ..."""

ROUNDED_PLACES: Final = 4
MOSTLY: Final = 0.5
"""... unless more than this share of them shows the last of so many decimals: rounding leaves a
nought there once in ten, a person's own numbers nearly always."""

COARSEST_DECIMALS: Final = 2
"""Fewer decimals than these are the model's own round numbers (common practice, no source)."""

FULL_DIGITS: Final = 7
"""Digits that single precision always holds; what shows more of them was not rounded."""


def coordinate_noise(coordinates: Floats, unit_mm: float = 1.0) -> float:
    """Smallest step between two coordinates that the file can write, where it writes coarsest.

    Parameters
    ----------
    coordinates : (n, 3) float
        Vertices, mm.
    unit_mm : float
        Millimetres of the file's unit.

    Returns
    -------
    float
        The step, mm. No coordinate is off by more than half of it.

    Examples
    --------
    >>> points = np.round(np.random.default_rng(1).uniform(0, 90, (99, 3)), 3)
    >>> round(coordinate_noise(points), 6)
    0.001
    """
    in_file = (np.abs(np.asarray(coordinates)).ravel() / unit_mm).astype(np.float32)
    largest = float(in_file.max(initial=0.0))
    single = float(np.spacing(np.float32(largest)))
    values = np.unique(in_file)
    values = values[values > 0.0]
    step = max(1, len(values) // VALUES_LOOKED_AT)
    written = _last_place([str(value) for value in values[::step]], len(values))
    return unit_mm * max(single, written)


def _last_place(texts: Sequence[str], count: int) -> float:
    """Value of the last place at the largest of ``count`` numbers; 0 where none was cut."""
    shown: list[tuple[int, int]] = []
    for text in texts:
        mantissa, _, power = text.partition("e")
        whole, _, part = mantissa.partition(".")
        exponent = int(power or 0)
        places = max(0, len(part.rstrip("0")) - exponent)
        if len((whole + part).strip("0")) > FULL_DIGITS:
            return 0.0
        first = len((whole + part).lstrip("0")) - len(part) - 1 + exponent
        shown.append((first, places))
    decimals: dict[int, int] = {}
    for first, places in shown:
        decimals[first] = max(decimals.get(first, 0), places)
    most = max(decimals.values(), default=0)
    if most < COARSEST_DECIMALS:
        return 0.0
    # Fixed decimals: the same number of them at every size. Fixed digits: one less a decade.
    digits = max(places + first + 1 for first, places in decimals.items())
    as_fixed = sum(places == most for places in decimals.values())
    as_digits = sum(places + first + 1 == digits for first, places in decimals.items())
    fixed = len(decimals) == 1 or as_fixed > as_digits
    if count < FEWEST_VALUES:
        cut = [places == (most if fixed else digits - first - 1) for first, places in shown]
        if most < ROUNDED_PLACES or sum(cut) <= MOSTLY * len(cut):
            return 0.0
    return float(10.0**-most if fixed else 10.0 ** (max(decimals) + 1 - digits))
