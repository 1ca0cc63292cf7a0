"""The likelihoods of a review against the row's promise and general formulas of statistics."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats

from review.parts import ROW, part_of
from shrinkrule.calibration import AXES, CalibrationRow
from shrinkrule.physics.estimate import t_quantile
from shrinkrule.physics.interval import Scatter
from shrinkrule.review.causes import Cause
from shrinkrule.review.likelihood import weigh_causes
from shrinkrule.review.readings import Deviations, deviations_of, lengths_of, of_one_firing
from shrinkrule.review.scatter import plain_scatter, possible_scatter, variance_nodes

INF = math.inf


def known(row: CalibrationRow) -> CalibrationRow:
    """The row with all its variances known, so that every interval is a normal one."""
    assert row.parts_x is not None
    assert row.parts_y is not None
    assert row.parts_z is not None
    assert row.first_layer_mm is not None
    assert row.bore_offset_mm is not None
    return replace(
        row,
        parts_x=replace(row.parts_x, dof=INF, within=0.0004),
        parts_y=replace(row.parts_y, dof=INF),
        parts_z=replace(row.parts_z, dof=INF),
        residual_dof=INF,
        first_layer_mm=replace(row.first_layer_mm, dof=INF),
        bore_offset_mm=replace(row.bore_offset_mm, dof=INF),
    )


def deviations(row: CalibrationRow, with_green: bool, seed: int = 3) -> Deviations:
    found = deviations_of(lengths_of(part_of(with_green=with_green), row), row, 1e-6)
    rng = np.random.default_rng(seed)
    return replace(found, off_mm=rng.normal(0.0, 0.05, len(found)))


def test_the_scatter_of_each_length_is_that_of_the_rows_promise() -> None:
    row = known(ROW)
    found = replace(deviations(row, False), reading_variance=np.zeros(11))
    for (scatter,) in possible_scatter(found, row)[0]:
        sd = np.sqrt(np.diag(scatter))
        for one, own in zip(found.lengths, sd, strict=True):
            straight = one.fired_mm.value - (one.reading.sag_mm or 0.0)
            half = row.promise(one.axis, straight, one.feature).half95
            assert half is not None
            sag = 0.192 * (one.reading.sag_mm or 0.0)  # hypot(0.15, 108 / 900)
            expected = math.hypot(half / float(t_quantile(INF)), sag)
            assert own == pytest.approx(expected, rel=2e-3), one.reading.id


def test_lengths_of_one_axis_go_together_as_their_firing_does() -> None:
    row = known(ROW)
    found = deviations(row, False)
    common, none = 0.0017**2, np.zeros(3)
    nothing = plain_scatter(found, row, none, none)
    together, nearly, apart = plain_scatter(found, row, np.full(3, common), none) - nothing
    x = [n for n, one in enumerate(found.lengths) if one.axis == "x"][:2]
    expected = common * found.length_mm[x[0]] * found.length_mm[x[1]]
    assert apart[x[0], x[1]] == pytest.approx(expected, rel=1e-9)
    z = next(n for n, one in enumerate(found.lengths) if one.axis == "z")
    assert apart[x[0], z] == 0.0
    assert together[x[0], z] > 0.0
    assert nearly[x[0], z] == pytest.approx(0.9 * together[x[0], z], rel=1e-9)


def test_parts_of_a_firing_have_in_common_what_it_does_and_not_what_is_their_own() -> None:
    """Two parts alike, longhand: variances of firing and part as shares of the green length."""
    row = known(ROW)
    one = deviations(row, True)
    both = of_one_firing([one, one])
    count = int((~one.is_green).sum())
    assert both.part.tolist() == [0] * count + [1] * count
    assert both.off_mm[count:].tolist() == one.off_mm[~one.is_green].tolist()
    firing, part, none = np.full(3, 0.0017**2), np.full(3, 0.0008**2), np.zeros(3)
    nothing = plain_scatter(both, row, none, none)
    found = plain_scatter(both, row, firing, part) - nothing
    squares = np.outer(both.length_mm, both.length_mm)
    own, other = slice(0, count), slice(count, 2 * count)
    shares = 0.0017**2 + 0.0008**2
    assert found[0][own, own] == pytest.approx(shares * squares[own, own], rel=1e-9)
    assert found[0][own, other] == pytest.approx(0.0017**2 * squares[own, other], rel=1e-9)
    assert found[-1][own, other].min() == 0.0


@pytest.mark.parametrize("per_firing", [1, 2])
def test_what_parts_of_a_firing_share_is_what_the_rows_coupons_tell(per_firing: int) -> None:
    """Two coupons a firing tell it; with one, any share of what differs may be a part's own.

    Analysis of variance: firing means of n coupons differ by firing^2 + part^2 / n, and the row
    keeps part^2 (1 - 1/n) beside it.
    """
    one = deviations(ROW, False)
    both = of_one_firing([one, one])
    within = 0.0 if per_firing == 1 else 0.0006
    scatter = Scatter(0.0, 0.0014, within, INF)
    coupons = per_firing * ROW.firings
    row = replace(ROW, coupons=coupons, parts_x=scatter, parts_y=scatter, parts_z=scatter)
    first, second = 0, len(one)
    rest = plain_scatter(both, row, np.zeros(3), np.zeros(3))[0][first, second]
    square = both.length_mm[first] * both.length_mm[second]
    for ways in possible_scatter(both, row)[0]:
        shared = {round((way[first, second] - rest) / square * 1e9, 3) for way in ways}
        if per_firing == 1:
            expected = {round(share * 0.0014**2 * 1e9, 3) for share in (0.1, 0.3, 0.5, 0.7, 0.9)}
        else:
            expected = {round((0.0014**2 - 0.0006**2) * 1e9, 3)}
        assert shared == expected


@pytest.mark.parametrize("with_green", [False, True])
def test_ratios_are_those_of_normal_densities(with_green: bool) -> None:
    """SciPy's multivariate normal, the size of each cause averaged over: covariance plus U U'."""
    row = known(ROW)
    found = deviations(row, with_green)
    ways = [scatter for (scatter,) in possible_scatter(found, row)[0]]
    weighed = weigh_causes(found, row)
    mean = np.zeros(len(found))
    plain = max(stats.multivariate_normal.logpdf(found.off_mm, mean, s) for s in ways)
    assert len(weighed.shapes) >= 8
    for shape, ratio in zip(weighed.shapes, weighed.ratios, strict=True):
        grown = [s + shape.effect @ shape.effect.T for s in ways]
        best = max(stats.multivariate_normal.logpdf(found.off_mm, mean, s) for s in grown)
        assert ratio == pytest.approx(best - plain, abs=1e-6), shape.cause


def test_a_cause_is_an_average_over_its_sizes() -> None:
    """Numerical integration over a size that is normal about nought."""
    row = known(ROW)
    found = deviations(row, False)
    ways = [scatter for (scatter,) in possible_scatter(found, row)[0]]
    weighed = weigh_causes(found, row)
    number = [shape.cause for shape in weighed.shapes].index(Cause.BORES)
    effect = weighed.shapes[number].effect[:, 0]

    def averaged(covariance: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        normal = stats.multivariate_normal(np.zeros(len(found)), covariance)
        whole, _ = integrate.quad(
            lambda size: stats.norm.pdf(size) * normal.pdf(found.off_mm - size * effect), -8, 8
        )
        return math.log(whole) - float(normal.logpdf(found.off_mm))

    plain = [
        stats.multivariate_normal.logpdf(found.off_mm, np.zeros(len(found)), scatter)
        for scatter in ways
    ]
    values = [averaged(scatter) + one for scatter, one in zip(ways, plain, strict=True)]
    assert weighed.ratios[number] == pytest.approx(max(values) - max(plain), abs=1e-5)


def test_few_firings_leave_their_variance_open_as_chi_squared_does() -> None:
    """One deviate over the nodes has Student's tails: 97.5 % below 3.18 for three degrees."""
    for dof in (2.0, 3.0):
        nodes, weights = variance_nodes(dof)
        assert weights.sum() == pytest.approx(1.0)
        for share, within in ((0.975, 0.003), (0.995, 0.002), (0.9995, 0.0004)):
            limit = stats.t.ppf(share, dof)
            below = float(weights @ stats.norm.cdf(limit / np.sqrt(nodes)))
            assert below == pytest.approx(share, abs=within)
    assert variance_nodes(INF)[0].tolist() == [1.0]


def test_more_firings_make_a_cause_likelier() -> None:
    """The same readings weigh more where the firing's variance is known better."""
    ratios = []
    for dof in (2.0, 8.0, INF):
        row = known(ROW)
        parts = {name: getattr(row, f"parts_{name}") for name in AXES}
        row = replace(
            row,
            parts_x=replace(parts["x"], dof=dof),
            parts_y=replace(parts["y"], dof=dof),
            parts_z=replace(parts["z"], dof=dof),
        )
        found = deviations_of(lengths_of(part_of(with_green=False), row), row, 1e-6)
        found = replace(found, off_mm=0.009 * found.length_mm)
        weighed = weigh_causes(found, row)
        causes = [shape.cause for shape in weighed.shapes]
        ratios.append(float(weighed.ratios[causes.index(Cause.FIRED_LESS)]))
    assert ratios[0] < ratios[1] < ratios[2]
