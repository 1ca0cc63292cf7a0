"""Outliers among the readings: named with their size in sigmas, and left in the fit.

Residuals are divided by their own standard deviation without the suspect, the worst is set aside,
and the next is looked for, so that two slips cannot hide each other. Suspects count up to the last
one that is larger than chance allows among so many.

Three lengths along an axis make a line of their own that hides a slip, since the longest alone
carries the slope. There all coupons and axes are judged at once: fired over green lengths follow
one value for each axis and one for each coupon, green lengths over their model one value for each
axis, the bead's spread and the first layer. What is off both ways was misread green, what is off
one way was misread fired.

Source: B. Rosner, *Technometrics* 25 (1983) 165-172 (generalized extreme Studentized deviate); N.
R. Draper, H. Smith, *Applied Regression Analysis*, deleted Studentized residuals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from shrinkrule.calibration.fit.axis import AxisFit, fit_axis
from shrinkrule.calibration.fit.lengths import Lengths
from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.physics.estimate import t_quantile

CHANCE: Final = 0.01
"""Chance that a sheet without slips has an outlier named."""

MOST_SHARE: Final = 0.2
"""No more than this share of the readings is looked at as outliers."""


FEW: Final = 4
"""Lengths of a coupon along an axis up to which its own line cannot find a slip."""

APART: Final = 60.0
"""Length in mm at which what a coupon's axes or prints scatter apart equals the scatter of one
length: 0.05 % against 0.03 mm (engineering judgement, no source)."""

FREE: Final = 1e-6
"""Share of a reading that the others must leave free for it to be judged."""

WEAK: Final = 0.8
"""Readings whose slips are named as late as this share of the latest are spoken of with it."""


@dataclass(frozen=True)
class Outlier:
    """An outlying reading.

    Parameters
    ----------
    coupon, feature : int
        Its place in the arrays.
    residual_mm : float
        How far it is from the line of the other readings.
    sigmas : float
        That in standard deviations of a reading there.
    """

    coupon: int
    feature: int
    residual_mm: float
    sigmas: float


def find_outliers(
    green_mm: ArrayLike,
    fired_mm: ArrayLike,
    firing: ArrayLike,
    weight: ArrayLike,
    bent: Mask | None = None,
) -> tuple[Outlier, ...]:
    """Find the outliers from their coupons' lines, worst first.

    Parameters
    ----------
    green_mm, fired_mm, weight : (c, m) float
        As :func:`fit_axis`.
    firing : (c,) int
        As :func:`fit_axis`.
    bent : bool, optional
        Whether the lines keep their intercept, as in the fit that is judged: were it decided anew
        after each suspect, lines would turn between two steps and name innocent readings.

    Returns
    -------
    tuple of Outlier
        The outliers; empty if there are none.
    """
    fired = np.asarray(fired_mm, dtype=np.float64)
    kept = np.array(weight, dtype=np.float64)
    suspects: list[tuple[int, int]] = []
    counted = 0
    for step in range(int(MOST_SHARE * np.count_nonzero(kept))):
        fit = fit_axis(green_mm, fired, firing, kept, bent=bent)
        dof = float(fit.residual_dof) - 1.0
        # A coupon left with two lengths has no line of its own to be judged by.
        if dof < 1.0 or (kept > 0.0).sum(axis=1).min() < 3:
            break
        deviates = _deleted_deviates(fit, np.asarray(green_mm, dtype=np.float64), fired, kept)
        worst = np.unravel_index(int(np.argmax(deviates)), deviates.shape)
        chance = CHANCE / np.count_nonzero(kept)
        if deviates[worst] > t_quantile(dof, 1.0 - chance):
            counted = step + 1
        suspects.append((int(worst[0]), int(worst[1])))
        kept[worst] = 0.0
    for place in suspects[counted:]:
        kept[place] = 1.0
    if not counted:
        return ()
    rest = fit_axis(green_mm, fired, firing, kept, bent=bent)
    found = [
        _against(rest, np.asarray(green_mm, dtype=np.float64), fired, place)
        for place in suspects[:counted]
    ]
    return tuple(sorted(found, key=lambda outlier: -outlier.sigmas))


def _deleted_deviates(fit: AxisFit, green: Floats, fired: Floats, kept: Floats) -> Floats:
    """Residuals over their standard deviation without themselves, 0 where left out."""
    measured = np.where(kept > 0.0, green, 0.0)
    residual = np.where(kept > 0.0, fired - fit.lines.at(measured.T).T, 0.0)
    free = np.where(kept > 0.0, 1.0 - fit.lines.unit_variance_at(measured.T).T, 1.0)
    total = float(fit.residual_variance * fit.residual_dof)
    rest = np.maximum(total - residual**2 / free, 1e-12 * total)
    return np.abs(residual) / np.sqrt(free * rest / (float(fit.residual_dof) - 1.0))


def _against(fit: AxisFit, green: Floats, fired: Floats, place: tuple[int, int]) -> Outlier:
    """One outlier, judged by the line of the other readings."""
    coupon, feature = place
    at = float(green[place])
    expected = fit.lines.at(at)[coupon]
    spread = fit.residual_variance * (1.0 + fit.lines.unit_variance_at(at)[coupon])
    residual = float(fired[place] - expected)
    return Outlier(coupon, feature, residual, abs(residual) / float(np.sqrt(spread)))


@dataclass(frozen=True)
class Slip:
    """A reading that does not go with the others.

    Parameters
    ----------
    axis, coupon, feature : int
        Its place: number of the axis, and place in that axis's arrays.
    stage : str
        ``green`` or ``fired``.
    off_mm, sigmas : float
        How far it is off what the others say, mm and standard deviations.
    """

    axis: int
    coupon: int
    feature: int
    stage: str
    off_mm: float
    sigmas: float


@dataclass(frozen=True)
class SlipSearch:
    """What was found, and from which size on a slip would have been.

    Parameters
    ----------
    slips : tuple of Slip
        Worst first.
    named_from_mm : float
        Slip of a fired reading that is named wherever it is; infinite where one never is.
    weakest : tuple of (int, int)
        Axis and feature of the lengths for which it takes so much.
    """

    slips: tuple[Slip, ...]
    named_from_mm: float
    weakest: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class _Judged:
    """Rows of one regression: suspects with residual and sigmas, and what each would take, mm."""

    suspects: dict[int, tuple[float, float]]
    reach_mm: Floats


def has_few(axes: tuple[Lengths, Lengths, Lengths]) -> bool:
    """Whether an axis of a coupon has so few lengths that its own line cannot find a slip.

    Parameters
    ----------
    axes : tuple of 3 Lengths
        Lengths along x, y and z.

    Returns
    -------
    bool
        Whether slips are to be looked for in all of them together.
    """
    return any(float(lengths.weight.sum(axis=1).min()) <= FEW for lengths in axes)


def find_slips(axes: tuple[Lengths, Lengths, Lengths]) -> SlipSearch:
    """Look for slips in all coupons and axes at once.

    Parameters
    ----------
    axes : tuple of 3 Lengths
        Lengths along x, y and z of the same coupons.

    Returns
    -------
    SlipSearch
        The slips, and what cannot be told.
    """
    places = [
        (number, *place)
        for number, lengths in enumerate(axes)
        for place in np.argwhere(lengths.weight > 0.0).tolist()
    ]
    axis, coupon, feature = (np.array(column) for column in zip(*places, strict=True))

    def gathered(name: str) -> Floats:
        return np.array([getattr(axes[a], name)[c, f] for a, c, f in places], dtype=np.float64)

    green, fired, drawn = gathered("green"), gathered("fired"), gathered("drawn")
    of_axis = (axis[:, None] == np.arange(3)).astype(np.float64)
    of_coupon = (coupon[:, None] == np.arange(coupon.max() + 1)).astype(np.float64)
    firing = _judged(np.hstack([of_axis, of_coupon[:, 1:]]) * green[:, None], fired, green)
    side = 2.0 * gathered("side") * (axis < 2)
    plate = (axis == 2) * (gathered("side") > 0.0)
    ways = np.column_stack(
        [of_axis * drawn[:, None], side, plate, gathered("bore"), np.ones_like(side)]
    )
    printing = _judged(ways, green - drawn, green)
    slips = []
    for row, (off, sigmas) in firing.suspects.items():
        where = (int(axis[row]), int(coupon[row]), int(feature[row]))
        green_off, green_sigmas = printing.suspects.get(row, (off, 0.0))
        # A green reading that is too long makes the part look as if it had shrunk too far.
        if green_off * off < 0.0:
            slips.append(Slip(*where, "green", green_off, green_sigmas))
        else:
            slips.append(Slip(*where, "fired", off, sigmas))
    largest = float(firing.reach_mm.max())
    late = np.flatnonzero(firing.reach_mm >= WEAK * largest)
    weakest = sorted({(int(axis[row]), int(feature[row])) for row in late})
    return SlipSearch(tuple(sorted(slips, key=lambda slip: -slip.sigmas)), largest, tuple(weakest))


def _judged(design: Floats, value: Floats, length: Floats) -> _Judged:
    """Suspects of a regression whose scatter grows with length, and what would be one."""
    sd = np.hypot(1.0, length / APART)
    x, y = design / sd[:, None], value / sd
    kept: Mask = np.ones(len(y), dtype=np.bool_)
    suspects: list[int] = []
    counted = 0
    for step in range(int(MOST_SHARE * len(y)) + 1):
        if _dof(x[kept]) < 2:
            break
        residual, free = _residuals(x[kept], y[kept])
        total, dof = float(residual @ residual), _dof(x[kept]) - 1
        share = residual**2 / free
        rest = np.sqrt(np.maximum(total - share, 1e-12 * max(total, 1e-30)) / dof)
        deviate = np.sqrt(share) / rest
        worst = int(np.argmax(deviate))
        if deviate[worst] > t_quantile(dof, 1.0 - CHANCE / len(deviate)):
            counted = step + 1
        row = int(np.flatnonzero(kept)[worst])
        suspects.append(row)
        kept[row] = False
    named = suspects[:counted]
    clean = np.ones(len(y), dtype=np.bool_)
    clean[named] = False
    residual, free = _residuals(x[clean], y[clean])
    dof = _dof(x[clean])
    reach = np.full(len(y), np.nan)
    if dof < 2:
        reach[:] = math.inf
        return _Judged({}, reach)
    spread = math.sqrt(float(residual @ residual) / dof)
    limit = float(t_quantile(dof - 1, 1.0 - CHANCE / int(clean.sum())))
    reach[clean] = limit * spread * sd[clean] / np.sqrt(free)
    coefficients = np.linalg.lstsq(x[clean], y[clean], rcond=None)[0]
    inverse = np.linalg.pinv(x[clean].T @ x[clean])
    found = {}
    for row in named:
        off = float(y[row] - x[row] @ coefficients)
        own = math.sqrt(1.0 + float(x[row] @ inverse @ x[row]))
        found[row] = (off * float(sd[row]), abs(off) / (own * spread))
    return _Judged(found, np.nan_to_num(reach, nan=0.0))


def _dof(design: Floats) -> int:
    """Degrees of freedom that a design leaves."""
    return len(design) - int(np.linalg.matrix_rank(design))


def _residuals(design: Floats, value: Floats) -> tuple[Floats, Floats]:
    """Residuals, and the share of each reading that the others leave free."""
    hat = np.einsum("ij,ji->i", design, np.linalg.pinv(design))
    coefficients = np.linalg.lstsq(design, value, rcond=None)[0]
    return value - design @ coefficients, np.maximum(1.0 - hat, FREE)
