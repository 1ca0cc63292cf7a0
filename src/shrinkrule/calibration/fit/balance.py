"""Weights against lengths: the metal that went into the furnace must come out of it.

Green weight, model volume and bead spread give the metal fraction of the green part; the fired
weight in air and in water gives its density. With the shrinkages they must close,
``(1 - s_x)(1 - s_y)(1 - s_z) = metal fraction / relative density``; a slip of the pen does not.

Source: conservation of metal; ISO 2738 and ASTM B962 for weighing in water.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from shrinkrule.physics.estimate import Estimate
from shrinkrule.physics.metal_balance import TOO_FAR, metal_balance
from shrinkrule.units import WATER_DENSITY_20C_G_CM3

VOLUME_U: Final = 0.005
"""Relative standard uncertainty of a printed volume: rounded corners, seams, ridges of beads."""

WATER_U: Final = 0.002
"""Relative standard uncertainty of weighing in water: bubbles, pores, temperature."""

SHARE_U: Final = 0.003
"""Standard uncertainty of the metal's mass share as a filament maker states it."""


class WeighedStage(StrEnum):
    """When a piece is weighed against its green weight."""

    DEBOUND = "debound"
    FIRED = "fired"


@dataclass(frozen=True)
class Weights:
    """Weights of one coupon's weighed piece, g, and what is known about it.

    Parameters
    ----------
    green_g, debound_g, fired_g, in_water_g : float or None
        In air at each stage, and fired in water.
    resolution_g : float
        Last step of the balance.
    green_volume : Estimate or None
        Volume as printed, mm3.
    kept_volume : Estimate
        Fired over green volume by the three shrinkages.
    metal_density, binder_density : float or None
        g/cm3.
    metal_mass_share : float or None
        Metal's share of the filament's mass.
    water_density : float or None
        g/cm3.
    """

    green_g: float | None
    debound_g: float | None
    fired_g: float | None
    in_water_g: float | None
    resolution_g: float
    green_volume: Estimate | None
    kept_volume: Estimate
    metal_density: float | None
    binder_density: float | None
    metal_mass_share: float | None
    water_density: float | None


@dataclass(frozen=True)
class Comparison:
    """One comparison: what was found, what was expected, and how far they differ.

    Parameters
    ----------
    about : str
        What was compared.
    found, expected : float
        The two values, in ``unit``.
    sigmas : float
        Their difference in standard uncertainties, signed.
    unit : str
        ``pct``, ``g`` or ``g/cm3``.
    text : str
        What it means, in a sentence.
    good : bool
        Whether it agrees.
    """

    about: str
    found: float
    expected: float
    sigmas: float
    unit: str
    text: str
    good: bool


@dataclass(frozen=True)
class Balance:
    """What the weights of one coupon say.

    Parameters
    ----------
    metal_fraction : Estimate or None
        Metal volume in the green part as printed.
    geometric_density, archimedes_density : Estimate or None
        Fired density by lengths and by weighing in water, g/cm3.
    relative_density : Estimate or None
        The better of these over that of solid metal.
    print_voids : float or None
        Share of the green volume that no filament fills.
    comparisons : tuple of Comparison
        The comparisons that could be made.
    """

    metal_fraction: Estimate | None
    geometric_density: Estimate | None
    archimedes_density: Estimate | None
    relative_density: Estimate | None
    print_voids: float | None
    comparisons: tuple[Comparison, ...]

    @property
    def density(self) -> Estimate | None:
        """Fired density, g/cm3: by water where weighed so, else by lengths."""
        return self.archimedes_density or self.geometric_density


def volume_fraction(mass_share: float, metal_density: float, binder_density: float) -> float:
    """Metal volume fraction of a filament without voids, from its metal mass share.

    Parameters
    ----------
    mass_share : float
        Metal's share of the filament's mass.
    metal_density, binder_density : float
        g/cm3.

    Returns
    -------
    float
        Metal's share of its volume.

    Examples
    --------
    >>> round(volume_fraction(0.90, 8.80, 1.24), 6)
    0.559118
    """
    metal = mass_share / metal_density
    return metal / (metal + (1.0 - mass_share) / binder_density)


def archimedes_density(in_air_g: float, in_water_g: float, water_density: float) -> float:
    """Density in g/cm3 of a sealed piece from its weights in air and in water.

    Parameters
    ----------
    in_air_g, in_water_g : float
        Weights, g.
    water_density : float
        Density of the water, g/cm3.

    Returns
    -------
    float
        Density, g/cm3.

    Examples
    --------
    >>> round(archimedes_density(10.000, 8.720, 0.9982), 6)
    7.798438
    """
    return in_air_g * water_density / (in_air_g - in_water_g)


def weigh(weights: Weights) -> Balance:
    """Draw densities and comparisons from the weights of one coupon.

    Parameters
    ----------
    weights : Weights
        The weights, and what is known about the piece.

    Returns
    -------
    Balance
        Densities, and comparisons with what they should be.
    """
    metal_g = weights.fired_g
    fraction = _ratio_density(metal_g, weights.green_volume, weights)
    if fraction is not None and weights.metal_density is not None:
        fraction = fraction.times(1.0 / weights.metal_density)
    else:
        fraction = None
    fired_volume = _product(weights.green_volume, weights.kept_volume)
    geometric = _ratio_density(weights.fired_g, fired_volume, weights)
    by_water = _by_water(weights)
    density = by_water or geometric
    relative = (
        None
        if density is None or weights.metal_density is None
        else density.times(1.0 / weights.metal_density)
    )
    comparisons = [
        _debinding(WeighedStage.DEBOUND, weights.debound_g, weights),
        _debinding(WeighedStage.FIRED, weights.fired_g, weights),
        _solid(relative),
        _closing(fraction, relative if by_water else None, weights.kept_volume),
        _filament(fraction, weights),
    ]
    return Balance(
        metal_fraction=fraction,
        geometric_density=geometric,
        archimedes_density=by_water,
        relative_density=relative,
        print_voids=_voids(fraction, weights),
        comparisons=tuple(comparison for comparison in comparisons if comparison is not None),
    )


def _debinding(stage: WeighedStage, mass: float | None, weights: Weights) -> Comparison | None:
    """Loss of weight against the binder's share."""
    if weights.green_g is None or mass is None or weights.metal_mass_share is None:
        return None
    expected = 1.0 - weights.metal_mass_share
    found = 1.0 - mass / weights.green_g
    u = math.hypot(SHARE_U, weights.resolution_g / math.sqrt(6.0) / weights.green_g)
    sigmas = (found - expected) / u
    share = (
        f"{stage}, it lost {100 * found:.1f} % of its weight; the binder is {100 * expected:.1f} %"
    )
    if sigmas < -TOO_FAR and stage is WeighedStage.DEBOUND:
        meaning = "binder is still in it, or the metal took up oxygen"
    elif sigmas < -TOO_FAR:
        meaning = "residue or oxide is in it, or two weights are exchanged"
    elif sigmas > TOO_FAR:
        meaning = "metal was lost, or the share or a weight is wrong"
    else:
        meaning = "the binder is out"
    about = f"weight lost, {stage}"
    return _compare(about, found, expected, sigmas, "pct", f"{share}: {meaning}")


def _solid(relative: Estimate | None) -> Comparison | None:
    """Nothing is denser than its solid metal."""
    if relative is None:
        return None
    sigmas = max(0.0, (relative.value - 1.0) / relative.u)
    meaning = (
        "denser than solid metal: a weight, a length or the metal's density is wrong"
        if sigmas > TOO_FAR
        else "possible"
    )
    text = f"the fired part is {100 * relative.value:.1f} % dense: {meaning}"
    return _compare("fired density", relative.value, 1.0, sigmas, "pct", text)


def _closing(
    fraction: Estimate | None, relative: Estimate | None, kept: Estimate
) -> Comparison | None:
    """Shrinkages against weights; only weighing in water makes the two independent."""
    if fraction is None or relative is None:
        return None
    found = metal_balance(kept, fraction, relative)
    expected, sigmas = found.expected, found.misfit_sigmas
    text = (
        f"lengths say that {100 * kept.value:.1f} % of the volume is left, weights say "
        f"{100 * expected:.1f} %"
    )
    if abs(sigmas) > TOO_FAR:
        text += ": a length or a weight is wrong, or two columns are exchanged"
    return _compare("volume left", kept.value, expected, sigmas, "pct", text)


def _filament(fraction: Estimate | None, weights: Weights) -> Comparison | None:
    """A print cannot hold more metal than its filament, nor be mostly voids."""
    solid = _solid_fraction(weights)
    if fraction is None or solid is None:
        return None
    sigmas = (fraction.value - solid) / math.hypot(fraction.u, SHARE_U * solid)
    found = (
        f"the green part holds {100 * fraction.value:.1f} % metal, its filament {100 * solid:.1f} %"
    )
    voids = 1.0 - fraction.value / solid
    if sigmas > TOO_FAR:
        text = f"{found}: more than its filament, so a weight, the volume or the share is wrong"
        return _compare("metal in the green part", fraction.value, solid, sigmas, "pct", text)
    if voids > 0.25:
        text = f"{found}: a quarter or more would be voids; was the block printed solid"
        return Comparison(
            "metal in the green part", fraction.value, solid, sigmas, "pct", text, False
        )
    text = f"{found}: {100 * max(voids, 0.0):.1f} % of it are voids of the print"
    return _compare("metal in the green part", fraction.value, solid, max(sigmas, 0.0), "pct", text)


def _compare(
    about: str, found: float, expected: float, sigmas: float, unit: str, text: str
) -> Comparison:
    """A comparison, good if it is within TOO_FAR standard uncertainties."""
    return Comparison(about, found, expected, sigmas, unit, text, abs(sigmas) <= TOO_FAR)


def _solid_fraction(weights: Weights) -> float | None:
    """Metal volume fraction of the filament, if that is known."""
    share, metal, binder = (
        weights.metal_mass_share,
        weights.metal_density,
        weights.binder_density,
    )
    if share is None or metal is None or binder is None:
        return None
    return volume_fraction(share, metal, binder)


def _voids(fraction: Estimate | None, weights: Weights) -> float | None:
    """Share of the green volume that no filament fills, if that is known."""
    solid = _solid_fraction(weights)
    return None if fraction is None or solid is None else 1.0 - fraction.value / solid


def _by_water(weights: Weights) -> Estimate | None:
    """Fired density by weighing in water, g/cm3."""
    if weights.fired_g is None or weights.in_water_g is None:
        return None
    buoyancy = weights.fired_g - weights.in_water_g
    if buoyancy <= 0.0:
        return None
    water = weights.water_density or WATER_DENSITY_20C_G_CM3
    value = archimedes_density(weights.fired_g, weights.in_water_g, water)
    # Two readings make the buoyancy; each is rectangular in one step of the balance.
    reading = weights.resolution_g / math.sqrt(6.0) / buoyancy
    return Estimate(value, value * math.hypot(WATER_U, reading))


def _ratio_density(
    mass_g: float | None, volume: Estimate | None, weights: Weights
) -> Estimate | None:
    """Density of a mass in a volume, g/cm3."""
    if mass_g is None or volume is None:
        return None
    value = 1000.0 * mass_g / volume.value
    reading = weights.resolution_g / math.sqrt(12.0) / mass_g
    return Estimate(value, value * math.hypot(volume.u / volume.value, reading))


def _product(first: Estimate | None, second: Estimate) -> Estimate | None:
    """Product of two independent estimates."""
    if first is None:
        return None
    value = first.value * second.value
    return Estimate(value, value * math.hypot(first.u / first.value, second.u / second.value))
