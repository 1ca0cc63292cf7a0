"""Pieces are put down row by row, each as near to the origin as it may stand."""

from __future__ import annotations

import pytest

from shrinkrule.coupon.layout import GAP_MM, pack

SQUARE = ((0.0, 0.0, 10.0, 10.0),)


def test_a_row_is_filled_before_the_next() -> None:
    """Two squares fit beside each other in 25 x 60 mm; the third begins the second row."""
    places = pack([SQUARE, SQUARE, SQUARE], (25.0, 60.0))
    step = 10.0 + GAP_MM
    assert [place[:2] for place in places] == [(0.0, 0.0), (step, 0.0), (0.0, step)]


def test_what_finds_no_room_is_not_put_down_at_all() -> None:
    assert pack([SQUARE, SQUARE], (25.0, 10.0)) != ()
    assert pack([SQUARE, SQUARE, SQUARE], (25.0, 10.0)) == ()
    assert pack([((0.0, 0.0, 10.0, 10.1),)], (25.0, 10.0)) == ()


def test_an_l_takes_a_square_into_its_corner() -> None:
    """Outlines are rectangles of their own, not boxes around all of them."""
    ell = ((0.0, 0.0, 30.0, 5.0), (0.0, 0.0, 5.0, 30.0))
    first, second = pack([ell, SQUARE], (40.0, 40.0))
    assert first[:2] == (0.0, 0.0)
    assert second[:2] == pytest.approx((5.0 + GAP_MM, 5.0 + GAP_MM))
