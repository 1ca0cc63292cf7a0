"""The round holes of the block leave a sound plate around them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from shrinkrule.coupon import CouponPlan, design_coupon
from shrinkrule.coupon.block_sizes import PIN_BEADS, _round_holes
from shrinkrule.coupon.solid import foot_chamfer
from shrinkrule.furnace import BoxFurnace
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind


@pytest.mark.parametrize(
    ("nozzle", "furnace"),
    [
        (0.4, BoxFurnace(80.0, 60.0, 50.0)),
        (0.6, BoxFurnace(80.0, 60.0, 50.0)),
        (0.6, BoxFurnace(200.0, 200.0, 80.0)),
        (0.8, BoxFurnace(200.0, 200.0, 80.0)),
    ],
)
def test_round_holes_of_three_diameters_leave_sound_walls(
    nozzle: float, furnace: BoxFurnace
) -> None:
    """Measured on the plate at its foot, where chamfers are widest, and half way up.

    The smallest is four beads wide or a little less, and each diameter is another.
    """
    printer = Printer.from_nozzle(nozzle)
    coupon = design_coupon(CouponPlan(printer, furnace))
    (block,) = (p for p in coupon.pieces if "block" in p.name.lower())
    plate = min(d.end[2] for d in block.dimensions if d.end[2] > d.start[2] == 0.0)
    told = {float(x.nominal or 0.0) for x in coupon.lines if x.kind is Kind.BORE}
    assert len(told) == 3
    assert min(told) == pytest.approx(4.0 * printer.bead_width_mm, abs=0.51)
    for height in (0.01, plate / 2.0):
        section = block.mesh.section([0.0, 0.0, 1.0], [0.0, 0.0, height])
        rings = [shapely.Polygon(ring[:, :2]) for ring in section.discrete]
        outer = max(rings, key=lambda ring: ring.area)
        holes = [ring for ring in rings if ring is not outer]
        # A circle is nearly as large as its box times pi / 4; windows fill their boxes.
        round_ones = [h for h in holes if h.area < 0.9 * shapely.box(*h.bounds).area]
        assert len(round_ones) == 3
        webs = [a.distance(b) for a in round_ones for b in holes if a is not b]
        webs += [outer.exterior.distance(hole) for hole in round_ones]
        assert min(webs) >= 2.0 * printer.bead_width_mm - 0.02
    seen = sorted(hole.bounds[2] - hole.bounds[0] for hole in round_ones)
    assert seen == pytest.approx(sorted(told), abs=1e-6)


@pytest.mark.parametrize("nozzle", [0.4, 0.6, 0.8])
def test_jaws_and_pins_are_told_the_middle_of_each_hole(nozzle: float) -> None:
    """Both ends lie on the wall of a hole of the section there; half way is the hole's middle."""
    furnace = BoxFurnace(80.0, 60.0, 50.0)
    coupon = design_coupon(CouponPlan(Printer.from_nozzle(nozzle), furnace))
    (block,) = (p for p in coupon.pieces if "block" in p.name.lower())
    inside = [d for d in block.dimensions if d.line.kind in (Kind.INSIDE, Kind.BORE)]
    assert len(inside) >= 6
    for one in inside:
        section = block.mesh.section([0.0, 0.0, 1.0], [0.0, 0.0, one.start[2]])
        rings = [shapely.LinearRing(ring[:, :2]) for ring in section.discrete]
        start, end = shapely.Point(one.start[:2]), shapely.Point(one.end[:2])
        hole = min(rings, key=start.distance)
        assert max(hole.distance(start), hole.distance(end)) < 0.02
        middle = shapely.Polygon(hole).centroid
        assert ((start.x + end.x) / 2.0, (start.y + end.y) / 2.0) == pytest.approx(
            (middle.x, middle.y), abs=0.02
        )


@pytest.mark.parametrize("nozzle", [0.3, 0.4, 0.6, 0.8])
def test_the_second_pin_hole_is_the_largest_that_keeps_its_webs(nozzle: float) -> None:
    """By shapely, in steps of half a millimetre: webs to the round hole, a window and a corner.

    The window begins at the corner, a rim below it; both holes lie on the diagonal.
    """
    printer = Printer.from_nozzle(nozzle)
    web = 2.0 * printer.bead_width_mm + foot_chamfer(printer.layer_height_mm)
    least, most = (
        max(np.floor(2.0 * b * printer.bead_width_mm + 1e-9) / 2.0, 1.0) for b in PIN_BEADS
    )
    told = set()
    for corner in np.arange(9.0, 30.0, 0.75):
        for rim in (1.6, 3.0, 4.5):
            middle, pins = _round_holes(corner, rim, 5.0, printer)
            if not pins:
                continue
            window = shapely.box(corner, 0.0, corner + 50.0, corner - rim)
            largest = 0.0
            for size in np.arange(most, least, -0.5):
                at = (
                    np.ceil(10.0 * (middle + np.sqrt(0.5) * (2.5 + size / 2.0 + web)) - 1e-9) / 10.0
                )
                hole = shapely.Point(at, at)
                room = min(window.distance(hole), hole.distance(shapely.Point(corner, corner)))
                if at < corner and room >= size / 2.0 + web:
                    largest = float(size)
                    break
            told.add(largest)
            found = [size for size, at in pins[1:]]
            assert found == ([largest] if largest else []), (corner, rim)
    assert {0.0, most} <= told
