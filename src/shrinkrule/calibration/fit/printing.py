"""How the printer departs from the model, from green lengths against their model.

All green lengths of a coupon, of the three axes together, are

    green = (1 + e_axis) drawn + 2 b side + o bore + h plate + z

with ``drawn`` the model's length, of a height what whole layers make of it where the sheet states
the layer, and side +1 for a length between outward surfaces, -1 for a slot or a bore, and 0 for a
step. That separates the spread ``b`` of the bead, an error ``e`` of each axis (belts, or a filament
that shrinks as it cools), the tightness ``o`` of round holes, what the first layer adds to heights
from the plate ``h``, and a caliper's zero ``z``, which alone is in every length. Each coupon has
its own fit; coupons then say how sure their means are, and what the next print may do. A part that
was fired along has too few lengths for all of that: its axes are fitted alone, with the means of
the coupons for the rest, as unsure as these are of one further print.
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
        Diameter of a round hole beyond that of a slot, mm; None without bores on the sheets.
    first_layer : Estimate or None
        What a height from the plate has beyond its model, mm; None without heights.
    zero : Estimate or None
        What every length has alike, mm: the caliper's zero; None where it cannot be told apart.
    next_bead, next_bore, next_first_layer : Estimate or None
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
    first_layer: Estimate | None
    zero: Estimate | None
    next_bead: Estimate
    next_bore: Estimate | None
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
    whole = np.ones(len(excess), dtype=np.bool_) if parts is None else ~parts
    table = _told_apart(_without_zero(table) if zero_is_right else table, whole)
    count, columns = float(table.weight.sum()), len(table.names)
    dof = count - float(whole.sum() * columns + (~whole).sum() * len(AXES))
    solved = np.zeros((len(excess), columns))
    unit = np.zeros((len(excess), columns))
    solved[whole], unit[whole] = _solved(table.design[whole], excess[whole])
    rest = solved[whole][:, len(AXES) :].mean(axis=0)
    known = excess[~whole] - table.design[~whole][..., len(AXES) :] @ rest
    solved[~whole, len(AXES) :] = rest
    along = _solved(table.design[~whole][..., : len(AXES)], known)
    solved[~whole, : len(AXES)], unit[~whole, : len(AXES)] = along
    residual = excess - (table.design @ solved[..., None])[..., 0]
    variances = []
    for along_z in (0.0, 1.0):
        here = table.weight * (table.is_z == along_z)
        # Each length has its share of what the columns took.
        free = float(here.sum()) * dof / count
        variances.append(max(float((here * residual**2).sum()) / free, reading_variance))
    pooled = max(float((residual**2).sum()) / dof, reading_variance)
    own = unit * pooled
    own[~whole, : len(AXES)] += _unsure(
        table.design[~whole], _differ(solved[whole], own[whole])[len(AXES) :]
    )
    own_u = np.sqrt(own.mean(axis=0)).tolist()

    def mean(name: str) -> Estimate | None:
        if name not in table.names:
            return None
        column = table.names.index(name)
        used = slice(None) if name in AXES else whole
        return departure(solved[used, column], own[used, column], dof).one()

    def after(name: str) -> Estimate | None:
        found = mean(name)
        if found is None:
            return None
        column = table.names.index(name)
        return _next(found, solved[whole, column], own[whole, column])

    scales = [mean(axis) for axis in "xyz"]
    bead, next_bead = mean("bead"), after("bead")
    nothing = Estimate(0.0, 0.0)
    return PrintingFit(
        scales=(scales[0] or nothing, scales[1] or nothing, scales[2] or nothing),
        scale_by_coupon=solved[:, :3],
        coupon_scale_u=(own_u[0], own_u[1], own_u[2]),
        bead=bead or nothing,
        bore=mean("bore"),
        first_layer=mean("plate"),
        zero=mean("zero"),
        next_bead=next_bead or nothing,
        next_bore=after("bore"),
        next_first_layer=after("plate"),
        residual_sd=(math.sqrt(variances[0]), math.sqrt(variances[1])),
        residual_dof=dof,
    )


def _solved(design: Floats, excess: Floats) -> tuple[Floats, Floats]:
    """Solutions (k, p) of as many least squares, and their variances for a residual of 1."""
    across = design.swapaxes(-1, -2)
    inverse = np.linalg.inv(across @ design)
    solved = (inverse @ across @ excess[..., None])[..., 0]
    return solved, np.diagonal(inverse, axis1=-2, axis2=-1)


def _differ(solved: Floats, own: Floats) -> Floats:
    """Variance (p,) of the columns of one further print about their means."""
    if len(solved) < 2:
        return np.asarray(own.mean(axis=0))
    beyond = np.maximum(solved.var(axis=0, ddof=1) - own.mean(axis=0), 0.0)
    return np.asarray(own.mean(axis=0) / len(solved) + beyond)


def _unsure(design: Floats, variance: Floats) -> Floats:
    """Variances (k, 3) of the axes of parts by what is unsure of all else, (p - 3,)."""
    axes, rest = design[..., : len(AXES)], design[..., len(AXES) :]
    across = axes.swapaxes(-1, -2)
    moved = np.linalg.inv(across @ axes) @ across @ rest
    return np.asarray(moved**2 @ variance)


def _next(mean: Estimate, values: Floats, variances: Floats) -> Estimate:
    """Value of one further print: the mean, and what prints differ by beyond their residuals."""
    coupons = values.size
    if coupons < 2:
        return mean
    differ = max(float(values.var(ddof=1)) - float(variances.mean()), 0.0)
    total = mean.u**2 + differ
    if total == 0.0:
        return mean
    # Welch and Satterthwaite: JCGM 100:2008, G.4.1.
    unsure = mean.u**4 / mean.dof + differ**2 / (coupons - 1.0)
    return Estimate(mean.value, math.sqrt(total), total**2 / unsure if unsure else math.inf)


def _table(axes: tuple[Lengths, Lengths, Lengths]) -> _Table:
    """Design of the whole coupon; the zero, which is told apart worst, stands last."""
    blocks, weights, is_z = [], [], []
    for number, lengths in enumerate(axes):
        upright = number < 2
        side = 2.0 * lengths.side if upright else np.zeros_like(lengths.side)
        plate = np.zeros_like(side) if upright else (lengths.side > 0.0).astype(np.float64)
        along = [lengths.drawn if n == number else np.zeros_like(side) for n in range(3)]
        columns = [*along, side, lengths.bore, plate, np.ones_like(side)]
        blocks.append(np.stack(columns, axis=-1) * lengths.weight[..., None])
        weights.append(lengths.weight)
        is_z.append(np.full(side.shape, float(not upright)))
    return _Table(
        np.concatenate(blocks, axis=1),
        (*AXES, "bead", "bore", "plate", "zero"),
        np.concatenate(weights, axis=1),
        np.concatenate(is_z, axis=1),
    )


def _without_zero(table: _Table) -> _Table:
    """The table without its last column, the zero."""
    return _Table(table.design[..., :-1], table.names[:-1], table.weight, table.is_z)


def _told_apart(table: _Table, whole: Mask) -> _Table:
    """Table without the columns that some whole coupon cannot tell from those before them."""
    design = table.design[whole]
    kept: list[int] = []
    for column in range(len(table.names)):
        value = design[..., column]
        if kept:
            before = design[..., kept]
            best = np.linalg.pinv(before) @ value[..., None]
            value = value - (before @ best)[..., 0]
        total = (design[..., column] ** 2).sum(axis=-1)
        left = (value**2).sum(axis=-1)
        if bool(np.all(left > SINGULAR * np.maximum(total, SINGULAR))):
            kept.append(column)
    names = tuple(table.names[column] for column in kept)
    return _Table(table.design[..., kept], names, table.weight, table.is_z)
