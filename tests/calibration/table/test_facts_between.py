"""A row between two: its uncertainties are those of its parts, and it promises no more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from old_rows import old_row
from shrinkrule import Estimate, check_balance, demo_table, row_at_density
from shrinkrule.physics.interval import Scatter

LOW, MIDDLE, HIGH = demo_table()[:3]


@pytest.mark.parametrize("density", [0.86, 0.91, 0.945])
def test_the_uncertainty_is_that_of_drawn_rows(density: float) -> None:
    """Shrinkages and densities of both rows drawn, and the line through them read anew.

    100 000 draws know a standard deviation to 0.2 %; the first-order formula is off by the square
    of relative uncertainties under 1 %.
    """
    rng = np.random.default_rng(5)
    low = replace(LOW, shrinkage_xy=Estimate(0.1297, 0.003), relative_density=Estimate(0.85, 0.002))
    high = replace(HIGH, shrinkage_xy=Estimate(0.16, 0.001), relative_density=Estimate(0.95, 0.003))
    row = row_at_density((low, high), low, density)

    def drawn(estimate: Estimate | None) -> np.ndarray:
        assert estimate is not None
        return rng.normal(estimate.value, estimate.u, 100_000)

    kept_low = np.log(1.0 - drawn(low.shrinkage_xy))
    kept_high = np.log(1.0 - drawn(high.shrinkage_xy))
    dense_low, dense_high = (
        np.log(drawn(low.relative_density)),
        np.log(drawn(high.relative_density)),
    )
    share = (np.log(density) - dense_low) / (dense_high - dense_low)
    shrinkage = 1.0 - np.exp(kept_low + share * (kept_high - kept_low))
    assert row.shrinkage_xy.value == pytest.approx(shrinkage.mean(), abs=1e-4)
    assert row.shrinkage_xy.u == pytest.approx(shrinkage.std(), rel=0.01)


def test_it_promises_no_more_than_the_less_sure_of_two_rows() -> None:
    """Where there is no law between densities, the worse of both holds."""
    low = replace(
        LOW, degrees_of_freedom=3.0, scatter_xy=0.004, scatter_z=0.001, longest_xy_mm=60.0,
        longest_z_mm=45.0, residual_xy_mm=0.01, residual_z_mm=0.05, thickest_section_mm=9.0,
    )  # fmt: skip
    high = replace(
        MIDDLE, degrees_of_freedom=12.0, scatter_xy=0.002, scatter_z=0.003, longest_xy_mm=75.0,
        longest_z_mm=30.0, residual_xy_mm=0.04, residual_z_mm=0.02, thickest_section_mm=6.0,
    )  # fmt: skip
    row = row_at_density((low, high), low, 0.87)
    assert row.degrees_of_freedom == 3.0
    assert (row.scatter_xy, row.scatter_z) == (0.004, 0.003)
    assert (row.residual_xy_mm, row.residual_z_mm) == (0.04, 0.05)
    assert (row.longest_xy_mm, row.longest_z_mm) == (60.0, 30.0)
    assert row.thickest_section_mm == 6.0
    assert row.coupons == low.coupons + high.coupons
    assert row.firings == low.firings + high.firings
    one_firing = replace(high, firing_scatter_known=False)
    assert not row_at_density((low, one_firing), low, 0.87).firing_scatter_known


def test_what_is_plain_lies_on_a_line_and_what_is_positive_on_one_of_logarithms() -> None:
    """Halfway in the logarithm of density: the mean, and the geometric mean."""
    low = replace(LOW, bead_offset_mm=Estimate(0.02, 0.006), sag_modulus_kpa=Estimate(400.0, 40.0))
    high = replace(
        MIDDLE, bead_offset_mm=Estimate(0.06, 0.008), sag_modulus_kpa=Estimate(900.0, 45.0)
    )
    row = row_at_density((low, high), low, (0.85 * 0.90) ** 0.5)
    assert row.bead_offset_mm is not None
    assert row.sag_modulus_kpa is not None
    assert row.bead_offset_mm.value == pytest.approx(0.04)
    assert row.bead_offset_mm.u == pytest.approx(0.005), "half of 6 and 8, in squares"
    assert row.sag_modulus_kpa.value == pytest.approx(600.0)
    relative = 0.5 * np.hypot(0.10, 0.05)
    assert row.sag_modulus_kpa.u == pytest.approx(600.0 * relative)
    assert (
        row_at_density((low, replace(high, bead_offset_mm=None)), low, 0.87).bead_offset_mm is None
    )


@pytest.mark.parametrize(
    ("dense", "words"),
    [(0.97, ""), (0.995, ""), (1.015, ""), (1.04, "denser than solid")],
)
def test_denser_than_solid_is_said_beyond_three_standard_uncertainties(
    dense: float, words: str
) -> None:
    """Metal fraction known to 1 %: a row of 101.5 % may be solid, one of 104 % cannot."""
    shrinkage = Estimate(1.0 - 0.6 ** (1.0 / 3.0), 1e-6)
    row = replace(
        old_row(MIDDLE),
        shrinkage_xy=shrinkage,
        shrinkage_z=shrinkage,
        metal_fraction=Estimate(0.6 * dense, 0.006 * dense),
        relative_density=Estimate(min(dense, 1.0), 1e-6),
    )
    balance = check_balance(row)
    assert balance is not None
    assert balance.implied_density == pytest.approx(dense)
    assert balance.misfit_sigmas == pytest.approx((min(dense, 1.0) / dense - 1.0) / 0.01, abs=1e-3)
    assert words in balance.warning
    assert bool(balance.warning) is bool(words)


def test_between_two_rows_no_more_is_known_of_scatter_than_in_either() -> None:
    """The larger scatters, with the fewer degrees of freedom."""
    low = replace(LOW, parts_x=Scatter(0.001, 0.002, 0.003, 2.0, 0.0004))
    high = replace(MIDDLE, parts_x=Scatter(0.002, 0.001, 0.004, 5.0, 0.0003))
    for first, second in ((low, high), (replace(low, parts_x=high.parts_x), high)):
        made = row_at_density((first, second), first, 0.875).parts_x
        assert made is not None
        assert first.parts_x is not None
        assert made.dof == min(first.parts_x.dof, 5.0)
        assert made.between == max(first.parts_x.between, 0.001)
        assert made.within == 0.004
        assert made.line == 0.0003
