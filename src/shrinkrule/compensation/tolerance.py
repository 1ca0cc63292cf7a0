"""Which standard tolerance class an interval can hold.

ISO 286-1 grades are computed from its formula (the printed tables are rounded, by up
to 15 % in the smallest step); ISO 2768-1 classes are its table for linear sizes.
"""

from __future__ import annotations

import math
from typing import Final

_STEPS_MM: Final = (
    (1, 3), (3, 6), (6, 10), (10, 18), (18, 30), (30, 50), (50, 80),
    (80, 120), (120, 180), (180, 250), (250, 315), (315, 400), (400, 500),
)  # fmt: skip
_UNITS_OF_GRADE: Final = {
    5: 7, 6: 10, 7: 16, 8: 25, 9: 40, 10: 64, 11: 100, 12: 160,
    13: 250, 14: 400, 15: 640, 16: 1000, 17: 1600, 18: 2500,
}  # fmt: skip

_GENERAL_UP_TO_MM: Final = (3.0, 6.0, 30.0, 120.0, 400.0, 1000.0)
_GENERAL: Final[dict[str, tuple[float | None, ...]]] = {
    "fine": (0.05, 0.05, 0.1, 0.15, 0.2, 0.3),
    "medium": (0.1, 0.1, 0.2, 0.3, 0.5, 0.8),
    "coarse": (0.2, 0.3, 0.5, 0.8, 1.2, 2.0),
    "very coarse": (None, 0.5, 1.0, 1.5, 2.5, 4.0),
}


def grade_width_mm(size_mm: float, grade: int) -> float:
    """Width in mm of the ISO 286 tolerance ``IT<grade>`` (5 to 18) at a size up to 500 mm.

    Parameters
    ----------
    size_mm : float
        Nominal size, mm.
    grade : int
        Number of the grade.

    Returns
    -------
    float
        Width of the tolerance, mm.

    Notes
    -----
    Source: ISO 286-1, i = 0.45 D^(1/3) + 0.001 D micrometres, D the geometric mean of the
    size step (from 1 to 3 mm for the smallest), and its multiples of i.

    Examples
    --------
    >>> round(grade_width_mm(40.0, 12), 3)
    0.25
    """
    low, high = next(step for step in _STEPS_MM if size_mm <= step[1])
    mean = math.sqrt(low * high)
    unit_um = 0.45 * math.cbrt(mean) + 0.001 * mean
    return 1e-3 * unit_um * _UNITS_OF_GRADE[grade]


def iso286_grade(size_mm: float, half_width_mm: float) -> str:
    """Finest ISO 286 grade that holds ``size +- half_width``; empty if none does.

    Parameters
    ----------
    size_mm : float
        Nominal size, mm.
    half_width_mm : float
        Half of what the size may vary by, mm.

    Returns
    -------
    str
        Name of the grade, as ``IT12``.

    Examples
    --------
    >>> iso286_grade(40.0, 0.12)
    'IT12'
    """
    if not 0 < size_mm <= _STEPS_MM[-1][1]:
        return ""
    for grade in _UNITS_OF_GRADE:
        if grade_width_mm(size_mm, grade) >= 2 * half_width_mm:
            return f"IT{grade}"
    return ""


def iso2768_class(size_mm: float, half_width_mm: float) -> str:
    """Finest ISO 2768-1 class for linear sizes that holds ``size +- half_width``; empty if none.

    Parameters
    ----------
    size_mm : float
        Nominal size, mm.
    half_width_mm : float
        Half of what the size may vary by, mm.

    Returns
    -------
    str
        Name of the class: fine, medium, coarse or very coarse.

    Notes
    -----
    Source: ISO 2768-1:1989, table 1. Under 0.5 mm there is no general tolerance.

    Examples
    --------
    >>> iso2768_class(30.0, 0.2), iso2768_class(30.01, 0.3)
    ('medium', 'medium')
    """
    if not 0.5 <= size_mm <= _GENERAL_UP_TO_MM[-1]:
        return ""
    step = next(i for i, upper in enumerate(_GENERAL_UP_TO_MM) if size_mm <= upper)
    for name, widths in _GENERAL.items():
        width = widths[step]
        if width is not None and width >= half_width_mm:
            return name
    return ""
