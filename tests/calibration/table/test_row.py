"""What a row predicts for a length: identities of its few numbers."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from old_rows import old_row
from shrinkrule import CalibrationRow, Estimate, LengthEffect, demo_table
from shrinkrule.calibration import Axis, Feature, Scatter
from shrinkrule.physics.estimate import t_quantile

OLD = replace(old_row(demo_table()[1]), degrees_of_freedom=2.0)
"""A row from before each axis had columns of its own."""
BENT = replace(OLD, length_effect_z=LengthEffect(Estimate(0.12, 0.02), 14.0), residual_z_mm=0.03)
LENGTHS = st.floats(2.0, 200.0)


def half(
    row: CalibrationRow, axis: Axis, fired: float, feature: Feature = Feature.OUTSIDE
) -> float:
    found = row.promise(axis, fired, feature).half95
    assert found is not None
    return found


@given(LENGTHS, LENGTHS)
def test_a_row_told_for_another_length_is_the_same_line(part: float, length: float) -> None:
    moved, here = BENT.at_lengths(20.0, part).along("z"), BENT.along("z")
    assert moved.fired_mm(length) == pytest.approx(here.fired_mm(length), rel=1e-12)
    assert (1.0 - moved.shrinkage.value) * moved.green_mm(part) == pytest.approx(part)
    assert BENT.at_lengths(20.0, part).shrinkage_xy == BENT.shrinkage_xy


@given(LENGTHS)
def test_green_and_fired_are_inverse(length: float) -> None:
    for axis in ("x", "y", "z"):
        along = BENT.along(axis)
        assert along.fired_mm(float(along.green_mm(length))) == pytest.approx(length)


def test_of_an_old_row_the_interval_is_students_and_that_of_xy() -> None:
    """t at 2 degrees of freedom times u and scatter in squares, for the green length."""
    green = 40.0 / (1.0 - OLD.shrinkage_xy.value)
    u, scatter = OLD.shrinkage_xy.u, OLD.scatter_xy
    expected = float(t_quantile(2.0)) * (u**2 + scatter**2) ** 0.5 * green
    assert half(OLD, "x", 40.0) == pytest.approx(expected) == half(OLD, "y", 40.0)


def test_with_residual_alone_it_is_the_normal_one() -> None:
    still = replace(OLD, shrinkage_xy=Estimate(0.15, 0.0), scatter_xy=0.0, residual_xy_mm=0.03)
    assert half(still, "x", 40.0) == pytest.approx(1.95996 * 0.03, rel=1e-5)


@given(LENGTHS, st.floats(0.0, 0.1))
def test_the_interval_lies_between_what_its_shares_would_give(
    length: float, residual: float
) -> None:
    row = replace(OLD, residual_xy_mm=residual)
    green = length / (1.0 - OLD.shrinkage_xy.value)
    total = ((row.along("x").scatter.next_sd * green) ** 2 + residual**2) ** 0.5
    found = half(row, "x", length)
    assert 1.9599 * total <= found <= float(t_quantile(2.0)) * total * (1.0 + 1e-12)


def test_away_from_its_centre_the_intercept_is_less_sure() -> None:
    known = replace(BENT, degrees_of_freedom=1e6)
    straight = replace(known, length_effect_z=LengthEffect(Estimate(0.12, 0.0), 14.0))
    at_centre = BENT.along("z").fired_mm(14.0)
    assert half(known, "z", at_centre) == pytest.approx(
        half(straight, "z", straight.along("z").fired_mm(14.0))
    )
    assert half(known, "z", 100.0) > 1.05 * half(straight, "z", 100.0)


def test_first_layer_and_bores_add_what_is_unsure_of_them() -> None:
    """In squares, shrunk with the part; a bore that no coupon had is not promised."""
    row = replace(OLD, first_layer_mm=Estimate(-0.1, 0.02), bore_offset_mm=Estimate(-0.05, 0.03))
    still = replace(row, shrinkage_xy=Estimate(0.15, 0.0), shrinkage_z=Estimate(0.15, 0.0),
                    scatter_xy=0.0, scatter_z=0.0, residual_xy_mm=0.03,
                    residual_z_mm=0.03)  # fmt: skip
    assert half(still, "z", 9.0) == pytest.approx(1.95996 * (0.03**2 + 0.017**2) ** 0.5, rel=1e-4)
    bore = half(still, "x", 9.0, Feature.BORE)
    assert bore == pytest.approx(1.95996 * (0.03**2 + 0.0255**2) ** 0.5, rel=1e-4)
    assert half(still, "x", 9.0, Feature.SLOT) == pytest.approx(1.95996 * 0.03, rel=1e-4)
    assert still.offset("z").value == pytest.approx(-0.085)
    assert OLD.promise("x", 9.0, Feature.BORE).half95 is None
    assert still.promise("z", 9.0, Feature.BORE).half95 is None


def test_one_firing_promises_nothing_and_an_old_row_says_what_it_cannot_know() -> None:
    single = replace(OLD, firing_scatter_known=False)
    assert single.promise("x", 40.0).half95 is None
    assert not single.holds_classes
    assert "how firings differ" in single.does_not_know
    assert "how single lengths scatter" in OLD.does_not_know
    assert not OLD.holds_classes


def test_a_corrected_printer_makes_other_green_parts_and_no_other_promise() -> None:
    row = replace(
        OLD, print_scale_x=Estimate(0.0041, 0.0005), parts_x=Scatter(0.001, 0.002, 0.0, 3.0)
    )
    true = row.on_a_true_printer()
    assert true.along("x").factor == pytest.approx(1.0041 * row.along("x").factor)
    assert true.promise("x", 40.0) == row.promise("x", 40.0)
