"""The coupon is a sound print: closed, standing, without supports, inside its furnace."""

from __future__ import annotations

import csv
import io
from itertools import combinations

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from seeds import many_seeds
from shrinkrule.compensation import offset_outlines
from shrinkrule.coupon import Coupon, CouponPlan, Piece, design_coupon
from shrinkrule.coupon.layout import GAP_MM
from shrinkrule.coupon.solid import as_hole, chamfered_prism, circle, rectangle, to_mesh
from shrinkrule.errors import MeshError, SettingError
from shrinkrule.furnace import (
    CLEARANCE_MM,
    BoxFurnace,
    CrucibleFurnace,
    Furnace,
    parse_box,
    parse_crucible,
)
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printer import Printer
from shrinkrule.sheet import COLUMNS, Kind, Setting, sheet_csv

nozzles = st.sampled_from([0.4, 0.5, 0.6, 0.8, 1.0])
layers = st.floats(0.3, 0.7)
boxes = st.builds(
    BoxFurnace, st.floats(45.0, 160.0), st.floats(60.0, 160.0), st.floats(18.0, 120.0)
)
crucibles = st.builds(CrucibleFurnace, st.floats(50.0, 160.0), st.floats(18.0, 120.0))


def usual() -> Coupon:
    return design_coupon(CouponPlan(Printer.from_nozzle(0.6), BoxFurnace(80.0, 60.0, 50.0)))


def inside(furnace: Furnace, points: Floats) -> bool:
    """Whether points (n, 2) fit the floor with the clearance, by another library's geometry."""
    if isinstance(furnace, CrucibleFurnace):
        radius = shapely.minimum_bounding_radius(shapely.MultiPoint(points))
        return bool(radius <= furnace.diameter_mm / 2 - CLEARANCE_MM + 1e-9)
    room = sorted((furnace.length_mm - 2 * CLEARANCE_MM, furnace.width_mm - 2 * CLEARANCE_MM))
    short, long = sorted(np.ptp(points, axis=0))
    return bool(short <= room[0] + 1e-9 and long <= room[1] + 1e-9)


def fired(piece: Piece) -> Floats:
    """Vertices as the piece stands in the furnace."""
    points = np.array(piece.mesh.vertices)
    return points[:, [0, 2, 1]] if piece.fired_standing else points


def test_a_chamfered_prism_has_the_volume_of_its_frustum_and_shaft() -> None:
    """10 x 8 x 5 with a 1 mm chamfer: 10*8*4 and a frustum by the prismoidal formula."""
    mesh = to_mesh(chamfered_prism([rectangle(0.0, 10.0, 0.0, 8.0)], 5.0, 1.0))
    frustum = (8.0 * 6.0 + 4.0 * 9.0 * 7.0 + 10.0 * 8.0) / 6.0  # prismoidal formula, exact
    assert mesh.is_volume
    assert mesh.volume == pytest.approx(320.0 + frustum, rel=1e-12)


def test_a_chamfer_that_eats_the_outline_is_refused() -> None:
    with pytest.raises(MeshError, match="chamfer"):
        chamfered_prism([rectangle(0.0, 10.0, 0.0, 1.0)], 5.0, 0.6)


def test_a_chamfered_hole_opens_toward_the_foot() -> None:
    rings = [rectangle(0.0, 20.0, 0.0, 20.0), as_hole(circle(10.0, 10.0, 8.0))]
    mesh = to_mesh(chamfered_prism(rings, 5.0, 0.6))
    assert mesh.is_volume
    assert mesh.euler_number == 0
    foot = mesh.vertices[mesh.vertices[:, 2] == 0.0]
    nearest = np.linalg.norm(foot[:, :2] - 10.0, axis=1).min()
    assert 4.6 <= nearest < 4.602  # mitred corners of 96 flats stand 0.0003 further out


@given(boxes | crucibles, nozzles, layers)
@settings(max_examples=200 if many_seeds() else 12, deadline=None)
def test_every_coupon_is_sound_prints_without_support_and_fits(
    furnace: Furnace, nozzle: float, layer_share: float
) -> None:
    printer = Printer.from_nozzle(nozzle, layer_height_mm=layer_share * nozzle)
    try:
        coupon = design_coupon(CouponPlan(printer, furnace))
    except SettingError:
        return
    mesh = coupon.mesh
    assert mesh.is_volume
    assert mesh.body_count == len(coupon.pieces)
    assert mesh.bounds[0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)
    steep = mesh.face_normals[:, 2] < -np.sin(np.radians(45.0)) - 1e-6
    assert np.all(mesh.triangles[steep][:, :, 2] == 0.0)  # only the foot looks straight down
    flat = mesh.face_normals[:, 2] > 1.0 - 1e-9
    levels = mesh.triangles[flat][:, :, 2] / printer.layer_height_mm
    assert levels == pytest.approx(np.round(levels), abs=1e-6)
    for piece in coupon.pieces:
        points = fired(piece)
        assert points[:, 2].max() <= furnace.height_mm - 2 * CLEARANCE_MM + 1e-9
        assert inside(furnace, points[:, :2])


@given(boxes | crucibles)
@settings(max_examples=100 if many_seeds() else 8, deadline=None)
def test_pieces_of_one_load_stand_apart_on_the_floor(furnace: Furnace) -> None:
    try:
        coupon = design_coupon(CouponPlan(Printer.from_nozzle(0.6), furnace))
    except SettingError:
        return
    if not coupon.floor:
        assert any("more than one load" in note for note in coupon.notes)
        return
    shadows, corners = [], []
    for piece, (x, y, length, width) in zip(coupon.pieces, coupon.floor, strict=True):
        points = fired(piece)[:, :2]
        if not np.allclose(points.max(axis=0), [length, width]):
            points = points[:, ::-1]
        assert points.max(axis=0) == pytest.approx([length, width])
        points = points + np.array([x, y])
        corners.append(points)
        triangles = points[piece.mesh.faces]
        edges = np.diff(triangles, axis=1)
        area = np.abs(np.linalg.det(edges))  # upright facets cast no shadow
        shadows.append(shapely.union_all(shapely.polygons(triangles[area > 1e-9])))
    assert inside(furnace, np.vstack(corners))
    for one, other in combinations(shadows, 2):
        assert shapely.distance(one, other) >= GAP_MM - 1e-6


def test_the_same_plan_gives_the_same_coupon() -> None:
    one, other = usual().mesh, usual().mesh
    assert np.array_equal(one.vertices, other.vertices)
    assert np.array_equal(one.faces, other.faces)


def test_a_furnace_too_low_or_too_narrow_is_refused_with_the_mend() -> None:
    printer = Printer.from_nozzle(0.6)
    with pytest.raises(SettingError, match="80 x 60 x 20 mm would do"):
        design_coupon(CouponPlan(printer, BoxFurnace(80.0, 60.0, 15.0)))
    with pytest.raises(SettingError, match="would do with this nozzle"):
        design_coupon(CouponPlan(printer, CrucibleFurnace(40.0, 60.0)))
    with pytest.raises(SettingError, match="80x60x50"):
        parse_box("80x60")
    with pytest.raises(SettingError, match="90x60"):
        parse_crucible("ninety")


def test_the_sheet_comes_back_from_a_spreadsheet_as_it_was() -> None:
    coupon = usual()
    rows = list(csv.DictReader(io.StringIO(sheet_csv(list(coupon.lines)))))
    assert tuple(rows[0]) == COLUMNS
    assert [row["id"] for row in rows] == [line.id for line in coupon.lines]
    assert len({row["id"] for row in rows}) == len(rows)
    for row, line in zip(rows, coupon.lines, strict=True):
        assert Kind(row["kind"]) is line.kind
        assert (row["axis"], row["unit"]) == (line.axis, line.unit)
        if isinstance(line.nominal, float):
            assert float(row["nominal"]) == pytest.approx(line.nominal, rel=5e-6)  # six digits
    assert {row["id"] for row in rows if row["kind"] == "setting"} == {
        s.value
        for s in Setting
        if s is not Setting.ROW  # of a load's sheet alone
    }


def test_the_weighed_volume_is_that_of_the_block() -> None:
    """Weighed piece and stated volume must belong together, or every density is wrong."""
    coupon = usual()
    bodies = coupon.mesh.split(only_watertight=True)
    assert isinstance(bodies[0], trimesh.Trimesh)
    stated = next(x.nominal for x in coupon.lines if x.id == Setting.WEIGHED_VOLUME.value)
    assert stated == pytest.approx(max(body.volume for body in bodies), rel=1e-9)


def test_the_stated_side_surface_is_the_volume_that_bead_spread_adds() -> None:
    """Against the volume of the block with its outlines really moved; second order in 0.01 mm."""
    coupon = usual()
    block = coupon.pieces[0].mesh
    stated = next(x.nominal for x in coupon.lines if x.id == Setting.WEIGHED_SURFACE.value)
    grown = offset_outlines(block, 0.01).mesh
    assert stated == pytest.approx((grown.volume - block.volume) / 0.01, rel=2e-3)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_lengths_of_each_axis_tell_slope_from_intercept(axis: str) -> None:
    for furnace in (CrucibleFurnace(60.0, 40.0), BoxFurnace(80.0, 60.0, 50.0)):
        coupon = design_coupon(CouponPlan(Printer.from_nozzle(0.6), furnace))
        lines = [x for x in coupon.lines if x.axis == axis]
        lengths = [float(x.nominal or 0.0) for x in lines if x.kind is Kind.OUTSIDE]
        assert len(set(lengths)) >= 4
        assert max(lengths) / min(lengths) >= 5.0 - 1e-9
        assert any(x.kind is Kind.STEP for x in lines)
        assert axis == "z" or sum(x.kind in (Kind.INSIDE, Kind.BORE) for x in lines) >= 3
