"""What a row predicts for a length: identities of its few numbers."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shrinkrule import Estimate, LengthEffect, demo_table
from shrinkrule.calibration.statistics.regression import t_quantile

ROW = replace(demo_table()[1], degrees_of_freedom=2.0)
BENT = replace(ROW, length_effect_z=LengthEffect(Estimate(0.12, 0.02), 14.0), residual_z_mm=0.03)
LENGTHS = st.floats(2.0, 200.0)


@given(LENGTHS, LENGTHS)
def test_a_row_told_for_another_length_is_the_same_line(part: float, length: float) -> None:
    moved = BENT.at_lengths(20.0, part)
    assert moved.fired_mm("z", length) == pytest.approx(BENT.fired_mm("z", length), rel=1e-12)
    assert (1.0 - moved.shrinkage_z.value) * moved.green_mm("z", part) == pytest.approx(part)
    assert moved.shrinkage_xy == BENT.shrinkage_xy


@given(LENGTHS)
def test_green_and_fired_are_inverse(length: float) -> None:
    for axis in ("xy", "z"):
        assert BENT.fired_mm(axis, BENT.green_mm(axis, length)) == pytest.approx(length)


def test_without_residual_the_interval_is_students() -> None:
    expected = float(t_quantile(2.0)) * ROW.spread("xy") * 40.0
    assert ROW.half95_mm("xy", 40.0) == pytest.approx(expected)


def test_with_residual_alone_it_is_the_normal_one() -> None:
    still = replace(
        ROW,
        shrinkage_xy=Estimate(0.15, 0.0),
        scatter_xy=0.0,
        residual_xy_mm=0.03,
    )
    assert still.half95_mm("xy", 40.0) == pytest.approx(1.95996 * 0.03, rel=1e-5)


@given(LENGTHS, st.floats(0.0, 0.1))
def test_the_interval_lies_between_what_its_shares_would_give(
    length: float, residual: float
) -> None:
    row = replace(ROW, residual_xy_mm=residual)
    total = ((row.spread("xy") * length) ** 2 + residual**2) ** 0.5
    half = row.half95_mm("xy", length)
    assert 1.9599 * total <= half <= float(t_quantile(2.0)) * total * (1.0 + 1e-12)


def test_away_from_its_centre_the_intercept_is_less_sure() -> None:
    straight = replace(BENT, length_effect_z=None)
    assert BENT.half95_mm("z", 14.0) == pytest.approx(straight.half95_mm("z", 14.0))
    assert BENT.half95_mm("z", 100.0) > 1.05 * straight.half95_mm("z", 100.0)
