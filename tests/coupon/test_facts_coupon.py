"""Pieces of the coupon on bed and furnace floor: where they are said to be, clear of each other."""

from __future__ import annotations

from itertools import combinations, product

import igl
import numpy as np
import pytest
import shapely

from shrinkrule.compensation import offset_outlines
from shrinkrule.coupon import Coupon, CouponPlan, design_coupon
from shrinkrule.coupon.block import build_block
from shrinkrule.coupon.block_sizes import shortest_block_mm, size_block
from shrinkrule.coupon.ladder import build_ladder
from shrinkrule.coupon.layout import GAP_MM
from shrinkrule.furnace import BoxFurnace, CrucibleFurnace
from shrinkrule.mesh.bodies import solid_from_mesh
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind

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


def test_the_sheet_names_what_was_planned() -> None:
    plan = CouponPlan(PRINTER, BoxFurnace(80.0, 60.0, 50.0), material="a bronze", process="in coal")
    lines = {line.id: line for line in design_coupon(plan).lines}
    assert lines["S4"].nominal == "a bronze"
    assert lines["S5"].nominal == "in coal"
    unnamed = {line.id: line for line in COUPONS[1].lines}
    assert unnamed["S4"].nominal is None
    assert unnamed["S5"].nominal is None


def test_the_sheet_tells_the_block_s_volume_and_its_gain_by_a_wider_bead(coupon: Coupon) -> None:
    """Moved outward by 1 micrometre, the block gains its side surface times that."""
    by_key = {line.feature: line.nominal for line in coupon.lines}
    volume = by_key["model volume of the block"]
    surface = by_key["surface of the block seen from the side"]
    (block,) = [p for p in coupon.pieces if p.mesh.volume == pytest.approx(volume, rel=1e-9)]
    wider = offset_outlines(block.mesh, 1e-3).mesh
    gain = (float(wider.volume) - float(block.mesh.volume)) / 1e-3
    # Corners add the square of the offset; fillets are cut into facets.
    assert gain == pytest.approx(surface, rel=2e-3)


@pytest.mark.parametrize("longest", [42.0, 60.0, 75.0])
@pytest.mark.parametrize("nozzle", [0.4, 0.6])
def test_webs_around_the_windows_keep_the_rim(longest: float, nozzle: float) -> None:
    """Cut through the plate: each opening that jaws enter is as far from the next as the rim.

    Holes for pins take no jaw and no foot beside them.
    """
    printer = Printer.from_nozzle(nozzle)
    sizes = size_block(max(longest, shortest_block_mm(printer)), 20.0, printer)
    block = build_block(sizes, printer).mesh
    height = 0.5 * (sizes.chamfer + sizes.plate)
    solid = solid_from_mesh(np.asarray(block.vertices), np.asarray(block.faces))
    loops = [shapely.Polygon(loop) for loop in solid.slice(height).to_polygons()]
    outline = max(loops, key=lambda loop: loop.area)
    pins = [diameter for diameter, _ in sizes.pin_holes]
    openings = [
        loop
        for loop in loops
        if loop is not outline
        and not any(loop.bounds[2] - loop.bounds[0] == pytest.approx(pin, abs=1e-6) for pin in pins)
    ]
    assert len(openings) == 3
    for opening in openings:
        assert outline.exterior.distance(opening) >= sizes.rim - 1e-3
        assert min(np.ptp(np.array(opening.exterior.coords), axis=0)) >= 4.5
    for one, other in combinations(openings, 2):
        assert one.distance(other) >= sizes.rim - 1e-3
    # The block is its own mirror image but for the marks: X and Y are measured alike.
    mirrored = shapely.affinity.affine_transform(outline, [0, 1, 1, 0, 0, 0])
    assert outline.symmetric_difference(mirrored).area < 1e-3


@pytest.mark.parametrize("nozzle", [0.4, 0.8])
def test_floors_of_the_ladder_close_their_bays_from_tooth_to_tooth(nozzle: float) -> None:
    """Cut at half of each floor's height, no slit is left between the teeth beside it."""
    ladder = build_ladder(Printer.from_nozzle(nozzle))
    walls = sorted((d.start[0], d.end[0]) for d in ladder.dimensions if d.line.kind is Kind.WALL)
    floors = [d for d in ladder.dimensions if d.line.kind is Kind.FLOOR]
    assert len(floors) >= 3
    for floor in floors:
        (x, y, low), top = floor.start, floor.end[2]
        left = max(end for _, end in walls if end < x)
        right = min(start for start, _ in walls if start > x)
        half = (low + top) / 2.0
        section = ladder.mesh.section([0.0, 0.0, 1.0], [0.0, 0.0, half])
        solid = shapely.union_all([shapely.Polygon(ring[:, :2]) for ring in section.discrete])
        bay = shapely.LineString([(left - 0.01, y), (right + 0.01, y)])
        assert solid.covers(bay)


def test_dimensions_lie_on_the_pieces_as_they_stand_on_the_bed(coupon: Coupon) -> None:
    """Both places that a caliper's jaw touches are on the surface of the coupon that is printed."""
    mesh = coupon.mesh
    touched = [dim for dim in coupon.dimensions if dim.line.kind is Kind.OUTSIDE]
    assert len(touched) > 8
    ends = np.array([end for dim in touched for end in (dim.start, dim.end)])
    square, _, _ = igl.point_mesh_squared_distance(
        ends, np.asarray(mesh.vertices), np.asarray(mesh.faces, dtype=np.int64)
    )
    assert np.sqrt(square) == pytest.approx(np.zeros(len(ends)), abs=1e-6)
