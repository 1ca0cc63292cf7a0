"""Furnace sizes: what fits, how turned, against figures whose circle and box are known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from shrinkrule.errors import SettingError
from shrinkrule.furnace import (
    BoxFurnace,
    CrucibleFurnace,
    enclosing_circle,
    fit_in_furnace,
)

BLOCK = np.array([[x, y, z] for x in (0, 60) for y in (0, 10) for z in (0, 20)], dtype=float)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(2, 80))
def test_the_smallest_circle_agrees_with_a_geometry_library(seed: int, count: int) -> None:
    points = np.random.default_rng(seed).normal(size=(count, 2)) * [30, 5]
    _, radius = enclosing_circle(points)
    known = shapely.minimum_bounding_radius(shapely.MultiPoint(points))
    assert radius == pytest.approx(known, rel=1e-9)


def test_points_on_one_circle_or_in_a_row() -> None:
    turns = np.linspace(0, 2 * np.pi, 361)
    ring = np.column_stack([3 + 7 * np.cos(turns), 7 * np.sin(turns)])
    centre, radius = enclosing_circle(ring)
    assert radius == pytest.approx(7.0)
    assert centre == pytest.approx([3.0, 0.0], abs=1e-9)
    row = np.column_stack([np.arange(9.0), np.zeros(9)])
    assert enclosing_circle(row)[1] == pytest.approx(4.0)


def test_a_box_takes_a_long_part_along_its_diagonal() -> None:
    """A 60 x 10 block turned by 45 degrees is 49.5 mm across both ways."""
    fit = fit_in_furnace(BLOCK, BoxFurnace(55, 55, 40))
    assert fit.fits
    assert fit.turned_deg % 90 == pytest.approx(45)
    assert fit.spare_mm == pytest.approx(51 - 70 / np.sqrt(2), abs=1e-6)


def test_what_is_too_high_or_too_wide_says_so() -> None:
    high = fit_in_furnace(BLOCK, BoxFurnace(100, 100, 22))
    assert not high.fits
    assert high.tight == "height"
    assert high.spare_mm == pytest.approx(-2.0)
    wide = fit_in_furnace(BLOCK, CrucibleFurnace(60, 90))
    assert wide.tight == "floor"
    assert wide.spare_mm == pytest.approx(56 - np.hypot(60, 10))
    assert fit_in_furnace(BLOCK, CrucibleFurnace(70, 90)).fits


@pytest.mark.parametrize("turn_deg", [20, 45, 110])
def test_room_does_not_depend_on_how_the_part_was_drawn(turn_deg: int) -> None:
    """Turned about Z beforehand by whole degrees, it is turned back and fits as it did."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    drawn = BLOCK @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    for side in (55, 40):
        furnace = BoxFurnace(side, side, 40)
        assert fit_in_furnace(drawn, furnace).spare_mm == pytest.approx(
            fit_in_furnace(BLOCK, furnace).spare_mm, abs=1e-9
        )


def test_ballast_leaves_room_for_a_part_and_two_millimetres_above_and_below_it() -> None:
    """In 20 mm: 15 mm of ballast and twice 2 mm of clearance leave a millimetre, 16 leave none."""
    furnace = BoxFurnace(60, 40, 20, ballast_below_mm=8.0, ballast_above_mm=7.0)
    assert furnace.usable_height_mm == pytest.approx(1.0)
    with pytest.raises(SettingError, match="leave no room"):
        BoxFurnace(60, 40, 20, ballast_below_mm=8.0, ballast_above_mm=8.0)
    with pytest.raises(SettingError, match="leave no room"):
        CrucibleFurnace(60, 20, ballast_below_mm=17.0)
