"""The round hole of the block leaves more plate around it than the windows do."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from shrinkrule.coupon import CouponPlan, design_coupon
from shrinkrule.furnace import BoxFurnace
from shrinkrule.printer import Printer


@pytest.mark.parametrize("nozzle", [0.6, 0.8])
def test_the_round_hole_leaves_an_eighth_of_its_corner_beyond_the_rim(nozzle: float) -> None:
    """Measured on the plate above its chamfer, corner at the origin.

    The hole takes three quarters of what a rim on either side leaves of its corner, rounded down:
    an eighth of that is left between the rim and the hole on each side.
    """
    plan = CouponPlan(Printer.from_nozzle(nozzle), BoxFurnace(200.0, 200.0, 80.0), 4000.0)
    (block,) = (p for p in design_coupon(plan).pieces if "block" in p.name.lower())
    height = 0.9 * min(d.end[2] for d in block.dimensions if d.end[2] > d.start[2] == 0.0)
    section = block.mesh.section([0.0, 0.0, 1.0], [0.0, 0.0, height])
    rings = [shapely.Polygon(ring[:, :2]) for ring in section.discrete]
    outer = max(rings, key=lambda ring: ring.area)
    holes = [ring for ring in rings if ring is not outer]
    # A circle is nearly as large as its box times pi / 4; windows fill their boxes.
    (hole,) = (h for h in holes if h.area < 0.9 * shapely.box(*h.bounds).area)
    windows = [h for h in holes if h is not hole and h.area > 0.5 * hole.area]
    rim = min(outer.exterior.distance(window) for window in windows)
    corner = 2.0 * np.mean(hole.centroid.xy)
    left = hole.bounds[0] - outer.bounds[0]
    assert left - rim >= (corner - 2.0 * rim) / 8.0 - 1e-3
    # Rounding to half a millimetre leaves at most a quarter more on each side.
    assert left - rim <= (corner - 2.0 * rim) / 8.0 + 0.26
