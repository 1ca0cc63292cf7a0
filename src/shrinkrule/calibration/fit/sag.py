"""Sag modulus from the drops of a coupon's beams, and whether they behave as beams at all.

A beam of depth ``h`` and span ``L`` under its own weight drops by ``K rho g L^4 / (E h^2)``; the
width cancels. ``E`` is the one effective modulus that stands for the whole firing; spans, depths
and density are those of the fired part. Beams of one coupon are averaged with their reading
errors and what they differ by beyond these; coupons then go through `firings`.

Source: the beam formula of :mod:`shrinkrule.physics.beam`; R. C. Paule, J. Mandel, *J. Res. NBS*
87 (1982) 377-385; J. Hartung, G. Knapp, *Statist. Med.* 20 (2001) 3875.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from shrinkrule.calibration.statistics.firings import FiringScatter, firing_scatter
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.physics.beam import Support, beam_drop_mm, beam_modulus_kpa
from shrinkrule.physics.estimate import t_quantile

STRAYING: Final = 1.3
"""A beam is refused only where its modulus is off the others' by this factor at least."""
STRAYING_SIGMAS: Final = 4.0
"""And by this many of its own standard uncertainties."""
LARGEST_DROP_PER_DEPTH: Final = 0.5
"""Beyond, ends that are held apart begin to carry a beam as a rope."""
LARGEST_TIP_PER_SPAN: Final = 0.2
"""A free end is no rope: its drop is 3 % under the formula here, as the arm turns out of the
horizontal (large deflections of a beam, integrated in the tests)."""


@dataclass(frozen=True)
class Beam:
    """A fired beam and its drop.

    Parameters
    ----------
    id : str
        Its mark on the sheet.
    coupon : int
        Number of its coupon.
    support : Support
        How it is held.
    span_mm, depth_mm, drop_mm : float
        Fired span, depth along gravity, drop from before to after firing.
    drop_u_mm, depth_u_mm : float
        Their standard uncertainties.
    density_g_cm3 : float
        Fired density.
    refused : str
        Why it is not used; empty if it is.
    """

    id: str
    coupon: int
    support: Support
    span_mm: float
    depth_mm: float
    drop_mm: float
    drop_u_mm: float
    depth_u_mm: float
    density_g_cm3: float
    refused: str = ""

    @property
    def modulus_kpa(self) -> float:
        """Sag modulus by the slender-beam formula."""
        return beam_modulus_kpa(
            self.support, self.span_mm, self.depth_mm, self.drop_mm, self.density_g_cm3
        )

    @property
    def relative_u(self) -> float:
        """Relative standard uncertainty of the modulus from reading drop and depth."""
        return float(np.hypot(self.drop_u_mm / self.drop_mm, 2.0 * self.depth_u_mm / self.depth_mm))

    @property
    def too_far(self) -> str:
        """How far it dropped, in words, where the formula does not reach so far; empty if it does.

        Held at one end the span counts, held at both the depth.
        """
        if self.support is Support.ONE_BUILT_IN:
            far = self.drop_mm > LARGEST_TIP_PER_SPAN * self.span_mm
            return "a fifth of its span" if far else ""
        far = self.drop_mm > LARGEST_DROP_PER_DEPTH * self.depth_mm
        return "half its depth" if far else ""


@dataclass(frozen=True)
class Power:
    """A fitted exponent beside the one of the beam formula."""

    fitted: float
    u: float
    dof: float
    theory: float

    @property
    def agrees(self) -> bool:
        """Whether theory lies within the 99 % interval."""
        return abs(self.fitted - self.theory) <= float(t_quantile(self.dof, 0.99)) * self.u


@dataclass(frozen=True)
class SagFit:
    """Sag modulus of a batch.

    Parameters
    ----------
    modulus_kpa : float
        Geometric mean over the firings.
    mean_u_kpa : float
        Standard uncertainty of that mean.
    next_u_kpa : float
        Standard uncertainty of the modulus in the next firing (a lower bound after one firing).
    next_dof : float
        Degrees of freedom of that; infinite where only readings make it unsure.
    beams : tuple of Beam
        All beams, refused ones with their reason.
    by_coupon_kpa : (c,) float
        Modulus of each coupon that has one, nan for the others.
    span_power, depth_power : Power or None
        Fitted exponents of span and depth (theory 4 and -2); ``None`` if too few
        beams determine them.
    """

    modulus_kpa: float
    mean_u_kpa: float
    next_u_kpa: float
    next_dof: float
    beams: tuple[Beam, ...]
    by_coupon_kpa: Floats
    span_power: Power | None
    depth_power: Power | None

    @property
    def used(self) -> tuple[Beam, ...]:
        """Beams that went into the modulus."""
        return tuple(beam for beam in self.beams if not beam.refused)


def fit_sag(beams: tuple[Beam, ...], firing: Ints) -> SagFit | None:
    """Fit the sag modulus; ``None`` where no beam can be used.

    Parameters
    ----------
    beams : tuple of Beam
        Beams of all coupons; those already refused stay so.
    firing : (c,) int
        Number of the firing that each coupon was in.

    Returns
    -------
    SagFit or None
        The modulus, with its uncertainties.
    """
    beams = _refuse_outlying(tuple(map(_refuse_unreadable, beams)))
    used = [beam for beam in beams if not beam.refused]
    if not used:
        return None
    coupons = sorted({beam.coupon for beam in used})
    logs = np.array([np.log(beam.modulus_kpa) for beam in used])
    variances = np.array([beam.relative_u**2 for beam in used])
    owner = np.array([beam.coupon for beam in used])
    means = [consensus(logs[owner == c], variances[owner == c]) for c in coupons]
    scatter = firing_scatter([mean for mean, _ in means], firing[coupons])
    modulus = float(np.exp(scatter.mean))
    mean_u, next_u = _uncertainties(scatter, [u for _, u in means])
    by_coupon = np.full(firing.size, np.nan)
    by_coupon[coupons] = np.exp([mean for mean, _ in means])
    span_power, depth_power = fitted_powers(tuple(used))
    return SagFit(
        modulus_kpa=modulus,
        mean_u_kpa=modulus * mean_u,
        next_u_kpa=modulus * next_u,
        next_dof=scatter.equivalent_dof if scatter.coupons > 1 else np.inf,
        beams=beams,
        by_coupon_kpa=by_coupon,
        span_power=span_power,
        depth_power=depth_power,
    )


def consensus(values: Floats, variances: Floats) -> tuple[float, float]:
    """Mean of values that differ by more than their uncertainties, and its uncertainty.

    Parameters
    ----------
    values, variances : (n,) float
        Values and the variances they are known to have.

    Returns
    -------
    tuple of two floats
        The mean and its standard uncertainty.

    Source: Paule and Mandel (1982) for the excess variance, Hartung and Knapp (2001) for the
    uncertainty of the mean, never below that of the variances alone.
    """
    if values.size == 1:
        return float(values[0]), float(np.sqrt(variances[0]))

    from scipy import optimize

    def misfit(excess: float) -> float:
        w = 1.0 / (variances + excess)
        return float((w * (values - np.average(values, weights=w)) ** 2).sum()) - (values.size - 1)

    widest = float(np.ptp(values)) ** 2 + 1e-12
    excess = optimize.brentq(misfit, 0.0, widest) if misfit(0.0) > 0.0 else 0.0
    w = 1.0 / (variances + excess)
    mean = float(np.average(values, weights=w))
    scale = max(1.0, float((w * (values - mean) ** 2).sum()) / (values.size - 1))
    return mean, float(np.sqrt(scale / w.sum()))


def fitted_powers(beams: tuple[Beam, ...]) -> tuple[Power | None, Power | None]:
    """Exponents of span and depth in the drops of these beams, each coupon with its own level.

    ``None`` where the beams do not differ enough in it, or none is left over to judge by.

    Parameters
    ----------
    beams : tuple of Beam
        Beams that are not refused.

    Returns
    -------
    tuple of two Power or None
        Exponents of span and depth.
    """
    coupons = sorted({beam.coupon for beam in beams})
    levels = np.array([[float(beam.coupon == c) for c in coupons] for beam in beams])
    spans = np.log([beam.span_mm for beam in beams])
    depths = np.log([beam.depth_mm for beam in beams])
    varies = [bool(np.ptp(column) > 0.1) for column in (spans, depths)]
    columns = [
        column[:, None] for column, differs in zip((spans, depths), varies, strict=True) if differs
    ]
    design = np.hstack([*columns, levels])
    dof = len(beams) - design.shape[1]
    if dof < 1 or not columns:
        return None, None
    drops = np.log(
        [
            beam.drop_mm / beam_drop_mm(beam.support, 1.0, 1.0, 1.0, beam.density_g_cm3)
            for beam in beams
        ]
    )
    root = 1.0 / np.array([beam.relative_u for beam in beams])
    weighted = design * root[:, None]
    inverse = np.linalg.pinv(weighted.T @ weighted)
    solved = inverse @ weighted.T @ (drops * root)
    residual = drops * root - weighted @ solved
    # Birge: where beams differ by more than their readings, so much less sure are the powers.
    scale = max(1.0, float(residual @ residual) / dof)
    powers = iter(
        (float(value), float(np.sqrt(scale * inverse[i, i])))
        for i, value in enumerate(solved[: len(columns)])
    )
    span = Power(*next(powers), dof, 4.0) if varies[0] else None
    depth = Power(*next(powers), dof, -2.0) if varies[1] else None
    return span, depth


def _uncertainties(scatter: FiringScatter, own: list[float]) -> tuple[float, float]:
    """Relative uncertainty of the mean and of the next firing's modulus."""
    alone = float(np.mean(np.square(own))) / len(own)
    mean = max(float(scatter.mean_variance), alone)
    return float(np.sqrt(mean)), float(np.sqrt(mean + float(scatter.next_part_variance)))


def _refuse_unreadable(beam: Beam) -> Beam:
    """A beam, refused if its drop is no larger than its uncertainty allows."""
    if beam.refused:
        return beam
    if beam.drop_mm < 2.0 * beam.drop_u_mm:
        return replace(beam, refused=f"a drop of {beam.drop_mm:.2f} mm is too small to read")
    return beam


def _refuse_outlying(beams: tuple[Beam, ...]) -> tuple[Beam, ...]:
    """Refuse beams whose drop is not that of a beam, judged by the others of their coupon."""

    def judged(beam: Beam) -> Beam:
        others = [
            other
            for other in beams
            if other.coupon == beam.coupon and other is not beam and not other.refused
        ]
        if beam.refused or len(others) < 2:
            return beam
        logs = np.log([other.modulus_kpa for other in others])
        centre = float(np.median(logs))
        off = float(np.log(beam.modulus_kpa)) - centre
        # Median absolute deviation, times 1.4826 to be a standard deviation.
        spread = np.hypot(1.4826 * float(np.median(np.abs(logs - centre))), beam.relative_u)
        if abs(off) < max(np.log(STRAYING), STRAYING_SIGMAS * float(spread)):
            return beam
        drop = beam.drop_mm * np.exp(off)
        reason = (
            "it touched something, or packing held it"
            if off > 0.0
            else "it cracked, or an end gave way"
        )
        return replace(
            beam,
            refused=f"dropped {beam.drop_mm:.2f} mm, the other beams say {drop:.2f}: {reason}",
        )

    return tuple(map(judged, beams))
