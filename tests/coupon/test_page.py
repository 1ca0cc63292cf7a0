"""The measuring page: every row is drawn once, to scale, and the page needs nothing else."""

from __future__ import annotations

import re
from itertools import combinations

import numpy as np
import pytest
import shapely
from lxml import etree, html

from shrinkrule.coupon import Coupon, CouponPlan, design_coupon, measuring_page_html
from shrinkrule.coupon.drawing import PAGE_MM, drawings, grip_drawing
from shrinkrule.coupon.views import ABOVE, BACK, FRONT, LEFT, View, patches
from shrinkrule.furnace import BoxFurnace, CrucibleFurnace
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind

PRINTER = Printer.from_nozzle(0.6)
COUPONS = [
    design_coupon(CouponPlan(PRINTER, BoxFurnace(80.0, 60.0, 50.0), 500.0, 8.0, "demo & <co>")),
    design_coupon(CouponPlan(PRINTER, CrucibleFurnace(60.0, 40.0), 4000.0)),
    design_coupon(CouponPlan(Printer.from_nozzle(0.8), CrucibleFurnace(140.0, 100.0), 3000.0)),
]
UNMEASURED = {Kind.SETTING, Kind.MASS, Kind.MASS_IN_WATER}


@pytest.fixture(params=COUPONS, ids=["box", "crucible", "large"])
def coupon(request: pytest.FixtureRequest) -> Coupon:
    found: Coupon = request.param
    return found


def test_each_row_stands_once_in_the_table_and_once_on_a_drawing(coupon: Coupon) -> None:
    page = html.fromstring(measuring_page_html(coupon))
    tags = [node.text for node in page.iter("text") if node.get("class") == "id"]
    drawn = [line.id for line in coupon.lines if line.kind not in UNMEASURED]
    assert sorted(tags) == sorted(drawn)
    rows = [row.get("id") for row in page.iter("tr") if row.get("id")]
    assert sorted(rows) == sorted(f"row-{line.id}" for line in coupon.lines)


def test_marks_are_drawn_to_scale_between_the_faces(coupon: Coupon) -> None:
    """On each drawing the line that belongs to a number is as long as the model says."""
    nominal = {line.id: line.nominal for line in coupon.lines}
    checked = 0
    for drawing in drawings(coupon):
        length = 0.0
        for node in etree.fromstring(drawing.svg):
            if node.get("class") == "dim":
                ends = [float(node.get(key)) for key in ("x1", "x2", "y1", "y2")]
                length = float(np.hypot(ends[1] - ends[0], ends[3] - ends[2]))
            elif node.get("class") == "id" and node.text[0] in "XYZFT":
                assert length == pytest.approx(nominal[node.text], abs=0.011)  # SVG to 0.01 mm
                checked += 1
    bores = sum(line.kind is Kind.BORE for line in coupon.lines)
    assert checked == 34 + bores


def test_nothing_is_drawn_off_the_paper(coupon: Coupon) -> None:
    for drawing in drawings(coupon):
        root = etree.fromstring(drawing.svg)
        x, y, dx, dy = map(float, root.get("viewBox").split())
        width = float(re.findall(r"width:([\d.]+)mm", root.get("style"))[0])
        assert width <= PAGE_MM
        assert width / dx <= 2.0 + 1e-9
        for node in root.iter("{*}text", "{*}rect"):
            assert x <= float(node.get("x")) <= x + dx
            assert y <= float(node.get("y")) <= y + dy


def test_numbers_do_not_lie_on_each_other(coupon: Coupon) -> None:
    for drawing in drawings(coupon):
        tags = [
            shapely.box(*(a := [float(node.get(k)) for k in ("x", "y")]), *np.add(a, size))
            for node in etree.fromstring(drawing.svg)
            if node.get("class") == "tag"
            for size in [[float(node.get("width")), float(node.get("height"))]]
        ]
        tree = shapely.STRtree(tags)
        pairs = tree.query(tags, predicate="overlaps")
        assert pairs.size == 0, drawing.title


def test_the_page_needs_no_other_file_and_fits_two_papers(coupon: Coupon) -> None:
    text = measuring_page_html(coupon)
    assert not re.search(r"(src|href)\s*=", text)
    assert "@page" in text
    assert "size:" not in text.replace("font-size:", "").replace("box-sizing:", "")
    assert "local codes" in text
    assert "<co>" not in text
    for note in coupon.notes:
        assert note in html.fromstring(text).text_content()


@pytest.mark.parametrize("view", [ABOVE, FRONT, LEFT, BACK], ids=lambda view: view.name)
def test_a_view_covers_the_shadow_of_the_piece(view: View) -> None:
    """Union of all visible planes against the union of all projected facets (shapely)."""
    for piece in COUPONS[0].pieces:
        if piece.fired_standing:
            continue  # gussets and arrows are drawn from one side only
        flat = view.flat(piece.mesh.triangles.reshape(-1, 3)).reshape(-1, 3, 2)
        flat = flat[np.abs(np.linalg.det(np.diff(flat, axis=1))) > 1e-9]
        shadow = shapely.union_all(shapely.polygons(flat)).area
        planes = []
        for patch in patches(piece.mesh, view):
            plane = shapely.Polygon()
            for ring in patch.rings:
                plane = plane.symmetric_difference(shapely.Polygon(ring))
            planes.append(plane)
        assert shapely.union_all(planes).area == pytest.approx(shadow, rel=1e-4)


def numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"-?[\d.]+", text)]


@pytest.mark.parametrize(("nozzle", "box"), [(0.6, (80.0, 60.0, 50.0)), (0.25, (50.0, 40.0, 30.0))])
def test_no_number_covers_an_arrow_or_another_number(
    nozzle: float, box: tuple[float, float, float]
) -> None:
    """Tag Z8 once stood on both arrows of its step, which is 3 mm high."""
    made = design_coupon(CouponPlan(Printer.from_nozzle(nozzle), BoxFurnace(*box)))
    for drawing in drawings(made):
        tags = [
            numbers(found)
            for found in re.findall(r'<rect ([^>]*)rx="[^"]*" class="tag"', drawing.svg)
        ]
        assert tags
        boxes = [(x, y, x + wide, y + high) for x, y, wide, high in tags]
        arrows = re.findall(r'<polygon points="([^"]*)" class="jaw"', drawing.svg)
        for arrow in arrows:
            points = np.array(numbers(arrow)).reshape(-1, 2)
            x, y = points.mean(axis=0)
            for left, top, right, bottom in boxes:
                assert not (left < x < right and top < y < bottom), drawing.title
        for one, other in combinations(boxes, 2):
            apart = one[0] >= other[2] or other[0] >= one[2]
            assert apart or one[1] >= other[3] or other[1] >= one[3], drawing.title


def test_the_page_shows_the_chamfer_that_the_block_has_and_where_settings_go() -> None:
    made = design_coupon(CouponPlan(Printer.from_nozzle(0.6), BoxFurnace(80.0, 60.0, 50.0)))
    block = made.pieces[0].mesh
    slanted = np.abs(np.asarray(block.face_normals)[:, 2] + np.sqrt(0.5)) < 1e-6
    chamfer = float(np.asarray(block.triangles)[slanted][:, :, 2].max())
    assert f"{chamfer:.2g} mm above its foot" in grip_drawing(made).title
    page = measuring_page_html(made)
    assert grip_drawing(made).svg in page
    assert "S1 to S18 and S20, go into the column <code>nominal</code>" in page
