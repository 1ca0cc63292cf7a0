"""How the printer departs from the model, from green lengths against their model.

All green lengths of a coupon, of the three axes together, are

    green = (1 + e_axis) drawn + 2 b side + (o + c (d / drawn - 1)) bore + h plate + z

with ``drawn`` the model's length, of a height what whole layers make of it where the sheet states
the layer, and side +1 for a length between outward surfaces, -1 for a slot or a bore, and 0 for a
step. That separates the spread ``b`` of the bead, an error ``e`` of each axis (belts, or a filament
that shrinks as it cools), the tightness ``o`` of round holes of the diameter ``d`` and ``c``, by
which it changes with their curvature, what the first layer adds to heights from the plate ``h``,
and a caliper's zero ``z``, which alone is in every length. Each coupon has its own fit; coupons
then say how sure their means are, and what the next print may do. A part that was fired along has
too few lengths for all of that: its axes are fitted alone, with the means of the coupons for the
rest, as unsure as these are of one further print.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.calibration.fit.lengths import Lengths
from shrinkrule.calibration.statistics.departure import departure
from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.physics.estimate import Estimate

AXES: Final = ("x", "y", "z")
"""First columns of the design: what every print has."""

SINGULAR: Final = 1e-9
"""Share of a column that the others must leave for it to be told apart."""


@dataclass(frozen=True)
class PrintingFit:
    """How the printer departs from the model.

    Parameters
    ----------
    scales : tuple of 3 Estimate
        Green length over model length along x, y and z, less 1, beyond what the rest explains.
    scale_by_coupon : (c, 3) float
        The same for each coupon.
    coupon_scale_u : tuple of 3 float
        Standard uncertainty of one coupon's scale, by the residuals alone.
    bead : Estimate
        Spread per upright surface, mm, outward positive.
    bore : Estimate or None
        Diameter of a round hole of ``bore_at_mm`` beyond the width of a slot, mm; None without
        bores on the sheets.
    bore_curve : Estimate or None
        What it changes by with the diameter, mm, times ``bore_at_mm`` over diameter, less 1; None
        where all bores have one diameter.
    bore_at_mm : float or None
        Harmonic mean of the bores' diameters, at which both are told apart best.
    first_layer : Estimate or None
        What a height from the plate has beyond its model, mm; None without heights.
    zero : Estimate or None
        What every length has alike, mm: the caliper's zero; None where it cannot be told apart.
    next_bead, next_bore, next_bore_curve, next_first_layer : Estimate or None
        The same values with what one further print may do.
    residual_sd : tuple of 2 float
        Standard deviation of one length about all this in the plane, and along z, mm.
    residual_dof : float
        Degrees of freedom of both together.
    """

    scales: tuple[Estimate, Estimate, Estimate]
    scale_by_coupon: Floats
    coupon_scale_u: tuple[float, float, float]
    bead: Estimate
    bore: Estimate | None
    bore_curve: Estimate | None
    bore_at_mm: float | None
    first_layer: Estimate | None
    zero: Estimate | None
    next_bead: Estimate
    next_bore: Estimate | None
    next_bore_curve: Estimate | None
    next_first_layer: Estimate | None
    residual_sd: tuple[float, float]
    residual_dof: float


@dataclass(frozen=True)
class _Table:
    """Lengths of all axes side by side: design (c, n, p) with its columns' names, and weights."""

    design: Floats
    names: tuple[str, ...]
    weight: Floats
    is_z: Floats


def fit_printing(
    axes: tuple[Lengths, Lengths, Lengths],
    fired: bool = False,
    reading_variance: float = 0.0,
    zero_is_right: bool = False,
    parts: Mask | None = None,
) -> PrintingFit:
    """Fit what the printer does to lengths, from the green ones or from the fired ones.

    Parameters
    ----------
    axes : tuple of 3 Lengths
        Lengths along x, y and z of the same coupons.
    fired : bool
        Take the fired lengths: then the scales hold shrinkage too.
    reading_variance : float
        Variance in mm2 that the caliper alone gives; residual variances are at least this.
    zero_is_right : bool
        Take the caliper's zero as right instead of fitting it.
    parts : (c,) bool, optional
        Which are parts that were fired along; not all of them.

    Returns
    -------
    PrintingFit
        The printer's ways.
    """
    table = _table(axes)
    model = np.concatenate([lengths.drawn for lengths in axes], axis=1)
    measured = [lengths.fired if fired else lengths.green for lengths in axes]
    excess = np.where(table.weight > 0.0, np.concatenate(measured, axis=1) - model, 0.0)
    if zero_is_right:
        table = _without_zero(table)
    told = _told_apart(table)
    along = np.zeros(len(told), dtype=np.bool_) if parts is None else parts
    told[along, len(AXES) :] = False
    design = table.design * told[:, None, :]
    across = design.swapaxes(-1, -2)
    # What a coupon cannot tell is nought in its own fit, and it has no say in the mean.
    inverse = np.linalg.inv(across @ design + np.eye(len(table.names)) * ~told[:, None, :])
    solved = (inverse @ across @ excess[..., None])[..., 0]
    knows = {name: told[:, column] for column, name in enumerate(table.names)}
    if knows["curve"].any():
        # A coupon with one diameter states the offset for that one, not for the mean diameter.
        knows["bore"] = knows["bore"] & knows["curve"]
    known = np.stack([knows[name] for name in table.names], axis=1)
    rest = _means(solved, known)
    rest[: len(AXES)] = 0.0
    excess[along] -= table.design[along] @ rest
    solved[along] = (inverse[along] @ across[along] @ excess[along][..., None])[..., 0]
    residual = excess - (design @ solved[..., None])[..., 0]
    count = float(table.weight.sum())
    dof = count - float(told.sum())
    variances = []
    for along_z in (0.0, 1.0):
        here = table.weight * (table.is_z == along_z)
        # Each length has its share of what the columns took.
        free = float(here.sum()) * dof / count
        variances.append(max(float((here * residual**2).sum()) / free, reading_variance))
    pooled = max(float((residual**2).sum()) / dof, reading_variance)
    own = np.diagonal(inverse, axis1=-2, axis2=-1) * pooled
    differ = _differ(solved, own, known)
    differ[: len(AXES)] = 0.0
    # What is unsure of the rest goes into a part's axes as the rest itself does.
    moved = inverse[along] @ across[along] @ table.design[along]
    own[along] += moved**2 @ differ
    own_u = np.sqrt(own.mean(axis=0)).tolist()

    def mean(name: str) -> Estimate | None:
        if name not in knows or not knows[name].any():
            return None
        here, column = knows[name], table.names.index(name)
        return departure(solved[here, column], own[here, column], dof).one()

    def after(name: str) -> Estimate | None:
        found = mean(name)
        if found is None:
            return None
        here, column = knows[name], table.names.index(name)
        return _next(found, solved[here, column], own[here, column])

    scales = [mean(axis) for axis in "xyz"]
    bead, next_bead = mean("bead"), after("bead")
    nothing = Estimate(0.0, 0.0)
    return PrintingFit(
        scales=(scales[0] or nothing, scales[1] or nothing, scales[2] or nothing),
        scale_by_coupon=solved[:, :3],
        coupon_scale_u=(own_u[0], own_u[1], own_u[2]),
        bead=bead or nothing,
        bore=mean("bore"),
        bore_curve=mean("curve"),
        bore_at_mm=_bore_mm(axes) if knows["bore"].any() else None,
        first_layer=mean("plate"),
        zero=mean("zero"),
        next_bead=next_bead or nothing,
        next_bore=after("bore"),
        next_bore_curve=after("curve"),
        next_first_layer=after("plate"),
        residual_sd=(math.sqrt(variances[0]), math.sqrt(variances[1])),
        residual_dof=dof,
    )


def _means(values: Floats, known: Mask) -> Floats:
    """Means (p,) of each column (c, p) over the coupons that know it; 0 where none does."""
    means: Floats = (values * known).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    return means


def _differ(solved: Floats, own: Floats, known: Mask) -> Floats:
    """Variance (p,) of each column of one further print about its mean."""
    count, of_one = known.sum(axis=0), _means(own, known)
    off = (solved - _means(solved, known)) ** 2 * known
    scatter = off.sum(axis=0) / np.maximum(count - 1, 1)
    beyond = np.where(count > 1, np.maximum(scatter - of_one, 0.0), 0.0)
    return np.asarray(of_one / np.maximum(count, 1) + beyond)


def _next(mean: Estimate, values: Floats, variances: Floats) -> Estimate:
    """Value of one further print: the mean, and what prints differ by beyond their residuals."""
    coupons = values.size
    if coupons < 2:
        return mean
    differ = max(float(values.var(ddof=1)) - float(variances.mean()), 0.0)
    # What prints differ by is known from so many coupons; both are taken as independent.
    return mean.plus(Estimate(0.0, math.sqrt(differ), coupons - 1.0))


def _table(axes: tuple[Lengths, Lengths, Lengths]) -> _Table:
    """Design of the whole coupon; the zero, which is told apart worst, stands last."""
    blocks, weights, is_z = [], [], []
    bore_mm = _bore_mm(axes)
    for number, lengths in enumerate(axes):
        upright = number < 2
        side = 2.0 * lengths.side if upright else np.zeros_like(lengths.side)
        plate = np.zeros_like(side) if upright else (lengths.side > 0.0).astype(np.float64)
        along = [lengths.drawn if n == number else np.zeros_like(side) for n in range(3)]
        curve = lengths.bore * (bore_mm / np.where(lengths.drawn > 0.0, lengths.drawn, 1.0) - 1.0)
        columns = [*along, side, lengths.bore, curve, plate, np.ones_like(side)]
        blocks.append(np.stack(columns, axis=-1) * lengths.weight[..., None])
        weights.append(lengths.weight)
        is_z.append(np.full(side.shape, float(not upright)))
    return _Table(
        np.concatenate(blocks, axis=1),
        (*AXES, "bead", "bore", "curve", "plate", "zero"),
        np.concatenate(weights, axis=1),
        np.concatenate(is_z, axis=1),
    )


def _bore_mm(axes: tuple[Lengths, Lengths, Lengths]) -> float:
    """Harmonic mean of the diameters of all bores, mm; 1 without any."""
    bores = [lengths.drawn[(lengths.bore * lengths.weight) > 0.0] for lengths in axes[:2]]
    return float(1.0 / np.mean(1.0 / np.concatenate(bores))) if any(map(len, bores)) else 1.0


def _without_zero(table: _Table) -> _Table:
    """The table without its last column, the zero."""
    return _Table(table.design[..., :-1], table.names[:-1], table.weight, table.is_z)


def _told_apart(table: _Table) -> Mask:
    """Whether each coupon can tell each column (c, p) from those before it."""
    told = np.zeros((len(table.design), len(table.names)), dtype=np.bool_)
    for column in range(len(table.names)):
        value = table.design[..., column]
        before = table.design[..., :column] * told[:, None, :column]
        left = value
        if column:
            left = value - (before @ (np.linalg.pinv(before) @ value[..., None]))[..., 0]
        whole = np.maximum((value**2).sum(axis=-1), SINGULAR)
        told[:, column] = (left**2).sum(axis=-1) > SINGULAR * whole
    return told
