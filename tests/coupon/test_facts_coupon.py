"""Pieces of the coupon on bed and furnace floor: where they are said to be, clear of each other."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest

from shrinkrule.coupon import Coupon, CouponPlan, design_coupon
from shrinkrule.coupon.layout import GAP_MM
from shrinkrule.furnace import BoxFurnace, CrucibleFurnace
from shrinkrule.printer import Printer

PRINTER = Printer.from_nozzle(0.6)
COUPONS = [
    design_coupon(CouponPlan(PRINTER, BoxFurnace(80.0, 60.0, 50.0), 500.0, 8.0, "demo")),
    design_coupon(CouponPlan(PRINTER, CrucibleFurnace(60.0, 40.0), 4000.0)),
]


@pytest.fixture(params=COUPONS, ids=["box", "crucible"])
def coupon(request: pytest.FixtureRequest) -> Coupon:
    found: Coupon = request.param
    return found


def test_the_bed_holds_each_piece_at_its_place(coupon: Coupon) -> None:
    """The printed file is the pieces, moved: boxes of its bodies are the places."""
    count = 0
    for piece, (x, y, length, width) in zip(coupon.pieces, coupon.bed, strict=True):
        own = np.asarray(coupon.mesh.vertices)[count : count + len(piece.mesh.vertices)]
        count += len(piece.mesh.vertices)
        low, high = own.min(axis=0), own.max(axis=0)
        assert low == pytest.approx([x, y, 0.0], abs=1e-6)
        assert high[:2] == pytest.approx([x + length, y + width], abs=1e-6)
    assert count == len(coupon.mesh.vertices)


def test_pieces_keep_their_gap_on_the_bed(coupon: Coupon) -> None:
    """Every two rectangles of different pieces are apart by the gap, along x or along y."""
    plans = [
        [(x + place[0], y + place[1], dx, dy) for x, y, dx, dy in piece.plan]
        for piece, place in zip(coupon.pieces, coupon.bed, strict=True)
    ]
    for one, other in combinations(plans, 2):
        for (ax, ay, adx, ady), (bx, by, bdx, bdy) in product(one, other):
            clear = max(bx - ax - adx, ax - bx - bdx, by - ay - ady, ay - by - bdy)
            assert clear >= GAP_MM - 1e-6


def test_pieces_that_stand_together_stand_inside_the_furnace() -> None:
    """A sagger of 120 x 120 mm holds all of them in one load, clear of each other and the wall."""
    coupon = design_coupon(CouponPlan(PRINTER, BoxFurnace(120.0, 120.0, 50.0), 4000.0))
    assert "fire them in one load" in coupon.notes[0]
    assert len(coupon.floor) == len(coupon.pieces)
    for x, y, length, width in coupon.floor:
        assert x >= 0.0
        assert y >= 0.0
        assert x + length <= 116.0 + 1e-6
        assert y + width <= 116.0 + 1e-6
    tight = design_coupon(CouponPlan(PRINTER, CrucibleFurnace(60.0, 40.0), 4000.0))
    assert (tight.floor == ()) is ("more than one load" in tight.notes[0])


def test_a_larger_furnace_takes_a_block_at_least_as_long() -> None:
    """What is measured is the longest block that there is room for."""
    lengths = []
    for side in (70.0, 80.0, 95.0, 120.0):
        coupon = design_coupon(CouponPlan(PRINTER, BoxFurnace(side, side, 50.0), 4000.0))
        lengths.append(max(float(piece.mesh.extents.max()) for piece in coupon.pieces[:1]))
    assert lengths == sorted(lengths)
    assert lengths[-1] > lengths[0]
