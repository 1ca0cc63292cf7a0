"""Rows between calibrated densities keep metal, and rows out of balance are convicted."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from old_rows import old_row
from shrinkrule import Beyond, Estimate, check_balance, demo_table, row_at_density
from shrinkrule.errors import TableError

ROWS = demo_table()
BRONZE = ROWS[1]
OLD = old_row(BRONZE)


@given(density=st.floats(0.85, 0.95))
def test_metal_is_conserved_between_rows(density: float) -> None:
    """(1 - s_xy)^2 (1 - s_z) relative density = metal fraction, all along.

    The demo rows balance to the 0.01 % their cells are rounded to: 3e-4 of volume.
    """
    row = row_at_density(ROWS, BRONZE, density)
    kept = (1 - row.shrinkage_xy.value) ** 2 * (1 - row.shrinkage_z.value)
    assert row.metal_fraction is not None
    assert kept * density == pytest.approx(row.metal_fraction.value, rel=3e-4)
    balance = check_balance(row)
    assert balance is not None
    assert balance.warning == ""
    assert balance.implied_density == pytest.approx(density, rel=3e-4)


def test_the_ends_are_the_rows_themselves() -> None:
    assert row_at_density(ROWS, BRONZE, 0.85) is ROWS[0]
    near = row_at_density(ROWS, BRONZE, 0.85 + 1e-12)
    assert near.shrinkage_z.value == pytest.approx(ROWS[0].shrinkage_z.value)


@given(density=st.floats(0.851, 0.949))
def test_denser_is_smaller(density: float) -> None:
    here = row_at_density(ROWS, BRONZE, density)
    denser = row_at_density(ROWS, BRONZE, density + 0.001)
    assert denser.shrinkage_xy.value > here.shrinkage_xy.value
    assert denser.shrinkage_z.value > here.shrinkage_z.value


def test_outside_is_refused_unless_told() -> None:
    with pytest.raises(TableError, match=r"outside the calibrated 0.85 to 0.95"):
        row_at_density(ROWS, BRONZE, 0.97)
    row = row_at_density(ROWS, BRONZE, 0.97, Beyond.EXTRAPOLATE)
    assert "EXTRAPOLATED" in row.note
    inside = row_at_density(ROWS, BRONZE, 0.94)
    assert row.shrinkage_xy.u > inside.shrinkage_xy.u


def test_densities_of_other_materials_do_not_count() -> None:
    alone = (ROWS[0], *ROWS[3:])
    with pytest.raises(TableError, match="1 density is calibrated"):
        row_at_density(alone, ROWS[0], 0.9)
    with pytest.raises(TableError, match="no relative density"):
        row_at_density(ROWS, BRONZE, 90.0)


def test_uncertain_densities_make_the_shrinkage_between_them_uncertain() -> None:
    sure = tuple(replace(r, relative_density=Estimate(r.relative_density.value, 0.0))
                 for r in ROWS if r.relative_density is not None)  # fmt: skip
    exact = row_at_density(sure, sure[1], 0.925).shrinkage_xy.u
    assert row_at_density(ROWS, BRONZE, 0.925).shrinkage_xy.u > exact


def test_impossible_row_is_denser_than_solid() -> None:
    """s_xy 0.16, s_z 0.18, metal fraction 0.60 imply a relative density of 1.037."""
    row = replace(
        OLD,
        shrinkage_xy=Estimate(0.16, 0.0005),
        shrinkage_z=Estimate(0.18, 0.0005),
        metal_fraction=Estimate(0.60, 0.001),
    )
    balance = check_balance(row)
    assert balance is not None
    assert balance.implied_density == pytest.approx(1.0370, abs=5e-5)
    assert "denser than solid" in balance.warning


def test_a_misfit_beyond_its_uncertainty_is_a_warning_and_within_it_is_none() -> None:
    off = replace(BRONZE, relative_density=Estimate(0.87, 0.002))
    balance = check_balance(off)
    assert balance is not None
    assert "disagree" in balance.warning
    vague = replace(off, relative_density=Estimate(0.87, 0.03))
    checked = check_balance(vague)
    assert checked is not None
    assert checked.warning == ""


def test_worked_balance() -> None:
    """phi .58, D .96, s_xy .15 need s_z .163783 (conservation of metal, recomputed)."""
    row = replace(
        OLD,
        shrinkage_xy=Estimate(0.15, 0.0),
        shrinkage_z=Estimate(0.163783, 0.0),
        metal_fraction=Estimate(0.58, 0.0),
        relative_density=Estimate(0.96, 0.0),
    )
    balance = check_balance(row)
    assert balance is not None
    assert balance.shrunk == pytest.approx(balance.expected, rel=1e-6)


def test_a_row_that_tells_too_little_is_not_judged() -> None:
    assert check_balance(replace(BRONZE, metal_fraction=None)) is None
