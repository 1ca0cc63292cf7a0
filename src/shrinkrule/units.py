"""The one place for units: lengths in mm, stresses in kPa, masses in g, shares as fractions.

Everything inside shrinkrule is in these units; only files, options and screens
speak others, and they convert here.
"""

from __future__ import annotations

import math
import re
from typing import Final

from shrinkrule.errors import SettingError

MM_PER_UNIT: Final[dict[str, float]] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "um": 1.0e-3,
    "in": 25.4,
    "ft": 304.8,
}
"""Millimetres in one of each length unit (the inch is exact since 1959)."""

GRAVITY_M_S2: Final = 9.80665
"""Standard gravity, ISO 80000-3."""

WATER_DENSITY_20C_G_CM3: Final = 0.99821
"""Density of air-free water at 20 degrees C (CRC Handbook, from memory)."""

_LENGTH = re.compile(r"^\s*([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*([a-zµμ\"]*)\s*$")
_SIZES = re.compile(r"^\s*\d+(?:[.,]\d+)?(?:\s*[xX×*]\s*\d+(?:[.,]\d+)?)+\s*(?:mm)?\s*$")
_ALIASES: Final = {
    "": "mm",
    '"': "in",
    "inch": "in",
    "inches": "in",
    "µm": "um",
    "μm": "um",
    "millimeter": "mm",
    "centimeter": "cm",
    "meter": "m",
    "micron": "um",
    "foot": "ft",
}
"""Other names of units; those of 3MF among them (3MF Core Specification, ST_Unit)."""


def unit_in_mm(unit: str) -> float:
    """Millimetres in one ``unit``.

    Parameters
    ----------
    unit : str
        Its short name.

    Returns
    -------
    float
        Millimetres.

    Raises
    ------
    SettingError
        For a unit that is not one of mm, cm, m, um, in, ft.

    Examples
    --------
    >>> unit_in_mm("in")
    25.4
    """
    key = _ALIASES.get(unit.strip().lower(), unit.strip().lower())
    if key not in MM_PER_UNIT:
        known = ", ".join(MM_PER_UNIT)
        raise SettingError(f"unknown length unit {unit!r}", hint=f"use one of {known}")
    return MM_PER_UNIT[key]


def parse_length(text: str, where: str = "length") -> float:
    """Length in mm from a text such as ``0.6``, ``0.6mm``, ``2 in`` or ``1,5 cm``.

    Parameters
    ----------
    text : str
        A number with or without a unit; mm without.
    where : str
        Name of the length, for messages.

    Returns
    -------
    float
        mm.

    Raises
    ------
    SettingError
        For a text that is no number with an optional known unit.

    Examples
    --------
    >>> parse_length("2 in")
    50.8
    >>> parse_length("0,6mm")
    0.6
    """
    match = _LENGTH.match(text.lower())
    if match is None:
        raise SettingError(
            f"{text!r} is not a length", where=where, hint="write a number and a unit, as 0.6mm"
        )
    return float(match[1].replace(",", ".")) * unit_in_mm(match[2])


def parse_sizes(text: str) -> list[float]:
    """Sizes in mm from a text such as ``80x60x50`` or ``80 × 60 mm``; none for another text.

    Parameters
    ----------
    text : str
        Two or more numbers with x, × or * between them.

    Returns
    -------
    list of float
        mm.

    Examples
    --------
    >>> parse_sizes("80x60,5 mm"), parse_sizes("80")
    ([80.0, 60.5], [])
    """
    numbers = re.findall(r"\d+(?:[.,]\d+)?", text) if _SIZES.match(text) else []
    return [float(number.replace(",", ".")) for number in numbers]


def weight_kpa_per_mm(density_g_cm3: float) -> float:
    """Weight of a body per volume, in kPa per mm of height.

    One gram per cubic centimetre weighs 9806.65 N/m3, which is 0.00980665 kPa/mm.

    Parameters
    ----------
    density_g_cm3 : float
        Density, g/cm3.

    Returns
    -------
    float
        kPa/mm.

    Examples
    --------
    >>> weight_kpa_per_mm(1.0)
    0.00980665
    """
    return density_g_cm3 * GRAVITY_M_S2 * 1.0e-3


def mass_g(volume_mm3: float, density_g_cm3: float) -> float:
    """Mass in g of a volume in mm3 at a density in g/cm3.

    Parameters
    ----------
    volume_mm3, density_g_cm3 : float
        Volume, mm3, and density, g/cm3.

    Returns
    -------
    float
        g.

    Examples
    --------
    >>> mass_g(1000.0, 8.96)
    8.96
    """
    return volume_mm3 * density_g_cm3 * 1.0e-3


def percent(share: float) -> str:
    """Share as a percentage that people read: no powers of ten, no more digits than matter.

    Parameters
    ----------
    share : float
        A fraction, 0 to 1.

    Returns
    -------
    str
        The percentage with its sign.

    Examples
    --------
    >>> percent(1.0), percent(0.0123), percent(0.00004), percent(0.99996)
    ('100 %', '1.2 %', 'under 0.01 %', '100 %')
    """
    value = 100.0 * share
    if 0.0 < value < 0.01:
        return "under 0.01 %"
    return f"{plain(value)} %"


def plain(value: float) -> str:
    """Value with two digits that count, without powers of ten.

    Parameters
    ----------
    value : float
        Any value.

    Returns
    -------
    str
        The value.

    Examples
    --------
    >>> plain(3912.4), plain(12.34), plain(0.0567), plain(0.0)
    ('3900', '12', '0.057', '0')
    """
    if value == 0.0:
        return "0"
    digits = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, digits):.{max(0, digits)}f}"


def small_mm(length_mm: float) -> str:
    """A small length to a hundredth of a millimetre, which is what can be measured of it.

    Parameters
    ----------
    length_mm : float
        mm.

    Returns
    -------
    str
        The length.

    Examples
    --------
    >>> small_mm(0.0093), small_mm(0.0012), small_mm(1.014)
    ('0.01', 'under 0.01', '1.01')
    """
    return f"{length_mm:.2f}" if length_mm >= 0.005 else "under 0.01"


def rounded_up(half_width: float, digits: int = 2) -> str:
    """Half width of an interval as text: never rounded to less than it is.

    Parameters
    ----------
    half_width : float
        Half width, in any unit.
    digits : int
        Decimals.

    Returns
    -------
    str
        The half width.

    Examples
    --------
    >>> rounded_up(0.1201), rounded_up(0.12), rounded_up(7.0, 0)
    ('0.13', '0.12', '7')
    """
    # A hair is taken off first: 0.12 is stored as a little more than twelve hundredths.
    scale = 10.0**digits
    return f"{math.ceil(half_width * scale - 1e-6) / scale:.{digits}f}"
