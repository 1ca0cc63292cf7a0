"""Filament that a print takes: mass, length on the spool, and price.

All filament of a green part stays in it, so its mass is the green part's; its length is that mass
over density and cross-section, ``L = m / (rho pi d^2 / 4)``. Brim, purge line and failed prints
come on top of that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from shrinkrule.physics.interval import Interval

DENSER: Final = 1.02
"""A print denser than its filament by more than this contradicts it: 2 % is what a caliper on the
coupon's block and the metal's share on a label leave open (common practice, no source)."""


@dataclass(frozen=True)
class Spool:
    """What is known of a filament; None is not known.

    Parameters
    ----------
    diameter_mm : float or None
        Diameter.
    density_g_cm3 : float or None
        Density with its binder.
    price_per_kg : float or None
        Price of a kilogram.
    currency : str
        Currency of the price, or empty.
    """

    diameter_mm: float | None = None
    density_g_cm3: float | None = None
    price_per_kg: float | None = None
    currency: str = ""


@dataclass(frozen=True)
class FilamentNeed:
    """Filament that one part takes.

    Parameters
    ----------
    mass_g : Interval
        Its mass, g.
    length_m : Interval or None
        Its length on the spool, m; None where diameter or density is not known.
    price : float or None
        Its price, in the spool's currency.
    currency : str
        That currency, or empty.
    mass_at_most, length_at_most : bool
        Whether the print was taken to be without voids, because the row weighed none or the
        filament's density is not known: then it takes at most this.
    note : str
        What contradicts, in words; else empty.
    """

    mass_g: Interval
    length_m: Interval | None
    price: float | None
    currency: str
    mass_at_most: bool
    length_at_most: bool
    note: str = ""


def filament_need(
    volume_mm3: float, spool: Spool, mass_g: Interval | None, density_g_cm3: float | None
) -> FilamentNeed | None:
    """Filament that a green part takes.

    Parameters
    ----------
    volume_mm3 : float
        Volume of the green part as printed, mm3.
    spool : Spool
        What is known of the filament.
    mass_g : Interval or None
        Mass of the green part, g, where the row knows it.
    density_g_cm3 : float or None
        Density of the green part as printed, voids included, where the row knows it.

    Returns
    -------
    FilamentNeed or None
        None where neither a mass nor a density is known, or the part has no volume.

    Examples
    --------
    >>> need = filament_need(10_000.0, Spool(1.75, 5.0, 80.0), None, None)
    >>> round(need.mass_g.value, 1), round(need.length_m.value, 3), need.price
    (50.0, 4.158, 4.0)
    """
    known = spool.density_g_cm3
    weighed = mass_g is not None
    if mass_g is None:
        mass_g = Interval(math.nan if known is None else 1e-3 * known * volume_mm3)
    if not math.isfinite(mass_g.value):
        return None
    length = None
    density = density_g_cm3 if known is None else known
    if spool.diameter_mm is not None and density is not None:
        # mm2 times g/cm3 is g/m.
        grams_per_m = density * math.pi / 4.0 * spool.diameter_mm**2
        half = None if mass_g.half95 is None else mass_g.half95 / grams_per_m
        length = Interval(mass_g.value / grams_per_m, half)
    price = None if spool.price_per_kg is None else 1e-3 * mass_g.value * spool.price_per_kg
    note = ""
    if known is not None and density_g_cm3 is not None and density_g_cm3 > DENSER * known:
        note = (
            f"the row's prints are {density_g_cm3:.2f} g/cm3, denser than the filament's "
            f"{known:.2f} g/cm3: one of them is wrong"
        )
    at_most = not weighed or known is None
    return FilamentNeed(mass_g, length, price, spool.currency, not weighed, at_most, note)
