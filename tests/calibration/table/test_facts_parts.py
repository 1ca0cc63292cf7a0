"""How parts differ, of a row between two densities: no surer than the worse of both."""

from __future__ import annotations

from dataclasses import replace

import pytest

from shrinkrule import Estimate, demo_table, row_at_density
from shrinkrule.calibration import Evidence, Ladder
from shrinkrule.physics.interval import LengthEffect, Scatter

LOW, HIGH = demo_table()[:2]
SHEETS = (Evidence("firing1.csv", "0" * 64),)


@pytest.mark.parametrize("exchanged", [False, True])
def test_parts_differ_as_much_as_at_the_worse_density(exchanged: bool) -> None:
    """Firings differ more and are known worse at one density, parts differ more at the other."""
    one = Scatter(mean_u=0.0004, between=0.0030, within=0.0005, dof=3.0)
    other = Scatter(mean_u=0.0006, between=0.0010, within=0.0015, dof=9.0)
    if exchanged:
        one, other = other, one
    low = replace(LOW, parts_x=one, parts_y=one, parts_z=one)
    high = replace(HIGH, parts_x=other, parts_y=other, parts_z=other)
    row = row_at_density((low, high), low, 0.87)
    for parts in (row.parts_x, row.parts_y, row.parts_z):
        assert parts is not None
        assert (parts.between, parts.within, parts.dof) == (0.0030, 0.0015, 3.0)


def test_the_length_that_an_effect_is_stated_at_lies_between_those_of_both_rows() -> None:
    """Halfway in the logarithm of density, halfway between 20 and 30 mm."""
    low = replace(LOW, length_effect_z=LengthEffect(Estimate(0.05, 0.01), 20.0))
    high = replace(HIGH, length_effect_z=LengthEffect(Estimate(0.09, 0.01), 30.0))
    dense = [row.relative_density for row in (low, high)]
    assert dense[0] is not None
    assert dense[1] is not None
    row = row_at_density((low, high), low, (dense[0].value * dense[1].value) ** 0.5)
    assert row.length_effect_z is not None
    assert row.length_effect_z.centre_mm == pytest.approx(25.0)
    assert row.length_effect_z.intercept_mm.value == pytest.approx(0.07)


def test_a_row_between_two_asks_for_what_came_out_on_both() -> None:
    low = replace(LOW, walls=Ladder(0.83, 0.66, 3), floors=Ladder(0.6, None, 2), evidence=SHEETS)
    high = replace(HIGH, walls=Ladder(0.66, 0.5, 1), floors=Ladder(None, 1.5, 0))
    row = row_at_density((low, high), low, 0.87)
    assert row.walls == Ladder(0.83, 0.66, 1)
    assert row.floors == Ladder(None, 1.5, 0)
    assert row.evidence == ()
    assert (row.nozzle_mm, row.layer_height_mm) == (LOW.nozzle_mm, LOW.layer_height_mm)


def test_rows_of_two_printers_make_a_row_of_none() -> None:
    row = row_at_density((LOW, replace(HIGH, nozzle_mm=0.8)), LOW, 0.87)
    assert row.nozzle_mm is None
    assert row.bead_width_mm == LOW.bead_width_mm
    assert "printed with nozzles of 0.6 and 0.8 mm" in row.note
