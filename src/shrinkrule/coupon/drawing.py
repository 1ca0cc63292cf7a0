"""Drawings for the measuring page: each dimension on its piece, with the number of its row.

Plain SVG in millimetres, black on white, so that any printer and any browser shows it.
A filled triangle is a jaw, pressed on the face it points at; an open-ended bar is the
foot of a depth rod; a long line on the bars is the straightedge.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.coupon.design import Coupon
from shrinkrule.coupon.layout import corners, turned
from shrinkrule.coupon.piece import JAW_WIDTH_MM, Dimension, Piece, Tool
from shrinkrule.coupon.solid import foot_chamfer
from shrinkrule.coupon.views import ABOVE, BACK, FRONT, LEFT, STANDING, View, patches
from shrinkrule.furnace import CLEARANCE_MM, CrucibleFurnace, enclosing_circle
from shrinkrule.sheet import Kind

PAGE_MM: Final = 182.0
"""Width all drawings keep to: it fits A4 and Letter with 12 mm margins."""
HALF_PAGE_MM: Final = 86.0
"""Width of a drawing that stands beside another."""
FLOOR_PLAN_MM: Final = 58.0
"""Width of the picture of the furnace floor."""
LARGEST_SCALE: Final = 2.0
"""Small pieces are drawn no larger than twice their size."""
MARGIN_MM: Final = 7.0
"""Paper kept around a piece for its marks."""

GRIP_SCALE: Final = 4.0
"""The foot of a face is drawn so many times its size."""
SHORT_MM: Final = 8.0
"""A line shorter than this on paper has no room for its number between its arrows."""

_Spot = tuple[float, float]


@dataclass(frozen=True)
class DimensionDrawing:
    """One picture of the page.

    Parameters
    ----------
    title : str
        What it shows.
    svg : str
        The picture.
    """

    title: str
    svg: str


def drawings(coupon: Coupon) -> list[DimensionDrawing]:
    """All pictures of a coupon, block first.

    Parameters
    ----------
    coupon : Coupon
        The coupon, its sheet included.

    Returns
    -------
    list of DimensionDrawing
        SVG with the ids of the dimensions it shows.
    """
    block = coupon.pieces[0]
    found = []
    for axis, kinds, words in (
        ("x", (Kind.OUTSIDE,), "outside lengths along X"),
        ("y", (Kind.OUTSIDE,), "outside lengths along Y"),
        ("x", (Kind.INSIDE, Kind.BORE, Kind.STEP), "inside lengths{} along X"),
        ("y", (Kind.INSIDE, Kind.BORE, Kind.STEP), "inside lengths{} along Y"),
    ):
        dims = [d for d in block.dimensions if d.line.axis == axis and d.line.kind in kinds]
        steps = " and steps" if any(d.line.kind is Kind.STEP for d in dims) else ""
        found.append(_drawing(f"Block from above: {words.format(steps)}", block, ABOVE, dims))
    heights = [d for d in block.dimensions if d.line.axis == "z"]
    for view, arm in ((FRONT, "X"), (LEFT, "Y")):
        dims = [d for d in heights if _on_arm(d, arm)]
        if not dims:
            continue
        found.append(_drawing(f"Block {view.name}: heights on the {arm} arm", block, view, dims))
    for piece in coupon.pieces[1:]:
        if piece.fired_standing:
            continue
        for view, kind, words in ((ABOVE, Kind.WALL, "walls"), (BACK, Kind.FLOOR, "floors")):
            dims = [d for d in piece.dimensions if d.line.kind is kind]
            found.append(_drawing(f"Ladder {view.name}: {words}", piece, view, dims))
    for piece in sorted((p for p in coupon.pieces if p.fired_standing), key=lambda p: p.name):
        title = f"{piece.name}, {STANDING.name}".replace("bar", "Bar", 1)
        found.append(_drawing(title, piece, STANDING, piece.dimensions))
    return found


def grip_drawing(coupon: Coupon) -> DimensionDrawing:
    """Side view of an upright face at its foot: how high above the chamfer the jaws hold.

    Parameters
    ----------
    coupon : Coupon
        The coupon; its layer height sets the chamfer, mm.

    Returns
    -------
    DimensionDrawing
        SVG of the foot, four times its size, with the jaw beside it.
    """
    chamfer = foot_chamfer(coupon.plan.printer.layer_height_mm)
    paper, wide = 1.0 / GRIP_SCALE, 6.0
    top = max(chamfer + JAW_WIDTH_MM + 1.0, 3.0 * chamfer)
    foot = [(0.0, -top), (0.0, -chamfer), (chamfer, 0.0), (wide, 0.0), (wide, -top)]
    points = " ".join(f"{x:.2f},{y:.2f}" for x, y in foot)
    jaw = _rect((-2.5, chamfer + 0.2, 2.5, JAW_WIDTH_MM), "grip")
    left = -5.0
    shapes = [
        f'<polygon points="{points}" class="plan"/>',
        f'<polyline points="{points}" class="outline"/>',
        jaw,
        _line((left, 0.0), (wide + 1.0, 0.0), "straightedge"),
        _line((left, -chamfer), (0.0, -chamfer), "leader"),
        _line((left + 0.8, 0.0), (left + 0.8, -chamfer), "dim"),
        _text((left - 2.0, -chamfer / 2.0), f"{chamfer:.2g} mm", paper),
        _text((-1.25, -chamfer - 0.2 - JAW_WIDTH_MM / 2.0), "jaw", paper),
        _text((wide / 2.0 + 0.6, -top / 2.0), "piece", paper),
    ]
    box = (left - 4.5, -top - 0.5, wide + 6.5 - left, top + 1.5)
    title = f"From the side: jaws hold the upright face, {chamfer:.2g} mm above its foot"
    return DimensionDrawing(title, _svg(shapes, box, GRIP_SCALE * box[2]))


def floor_plan(coupon: Coupon) -> DimensionDrawing | None:
    """Picture of all pieces on the furnace floor, or None where one load does not hold them.

    Parameters
    ----------
    coupon : Coupon
        The coupon; its floor places are mm as fired.

    Returns
    -------
    DimensionDrawing or None
        SVG of the floor with the name of each piece.
    """
    if not coupon.floor:
        return None
    outlines = []
    for piece, place in zip(coupon.pieces, coupon.floor, strict=True):
        plan = piece.fired_plan
        turn = max(x + dx for x, _, dx, _ in plan) != place[2]
        outlines.append(turned(plan) if turn else plan)
    points = corners(outlines, coupon.floor)
    furnace = coupon.plan.furnace
    if isinstance(furnace, CrucibleFurnace):
        centre, _ = enclosing_circle(points)
        room = np.full(2, furnace.diameter_mm)
        rounding = furnace.diameter_mm / 2.0
    else:
        centre = (points.min(axis=0) + points.max(axis=0)) / 2.0
        room = np.array([furnace.length_mm, furnace.width_mm])
        free = room - 2.0 * CLEARANCE_MM
        room = room if np.all(np.ptp(points, axis=0) <= free) else room[::-1]
        rounding = 0.0
    low = centre - room / 2.0
    paper = float(room[0]) / FLOOR_PLAN_MM
    shown = [_rect((*low, *room), "wall", rounding)]
    for piece, outline, (x, y, _, _) in zip(coupon.pieces, outlines, coupon.floor, strict=True):
        shown += [_rect((x + a, y + b, dx, dy), "plan") for a, b, dx, dy in outline]
        a, b, dx, dy = outline[0] if len(outline) == 1 else outline[1]
        shown.append(_text((x + a + dx / 2.0, -(y + b + dy / 2.0)), piece.name, paper))
    edge = paper  # half of the wall's line lies outside it
    box = (low[0] - edge, -low[1] - room[1] - edge, room[0] + 2.0 * edge, room[1] + 2.0 * edge)
    return DimensionDrawing(f"On the furnace floor: {furnace}", _svg(shown, box, FLOOR_PLAN_MM))


def _on_arm(dim: Dimension, arm: str) -> bool:
    x, y, _ = dim.end
    return (x > y) == (arm == "X")


def _drawing(title: str, piece: Piece, view: View, dims: Sequence[Dimension]) -> DimensionDrawing:
    shapes = []
    for patch in patches(piece.mesh, view):
        path = " ".join(
            "M" + " L".join(f"{x:.3f} {y:.3f}" for x, y in ring) + "Z" for ring in patch.rings
        )
        grey = round(205 + 50 * patch.nearness)
        shapes.append(f'<path d="{path}" fill="rgb({grey},{grey},{grey})" class="level"/>')
    flat = view.flat(np.asarray(piece.mesh.vertices))
    low, size = flat.min(axis=0), np.ptp(flat, axis=0)
    width = PAGE_MM if piece.fired_standing and size[0] > HALF_PAGE_MM else HALF_PAGE_MM
    scale = min(LARGEST_SCALE, (width - 2.0 * MARGIN_MM) / size[0])
    marks = _Marks(view, 1.0 / scale, float(low[1]), float(low[1] + size[1]))
    for dim in dims:
        shapes += marks.dimension(dim)
    margin = MARGIN_MM / scale
    box = (low[0] - margin, low[1] - margin, size[0] + 2.0 * margin, size[1] + 2.0 * margin)
    return DimensionDrawing(title, _svg(shapes, box, scale * box[2]))


@dataclass(frozen=True)
class _Marks:
    """Marks of dimensions in one view.

    Parameters
    ----------
    view : View
        Where the eye stands.
    paper : float
        One millimetre of paper in drawing units.
    top, bottom : float
        Upper and lower edge of the piece on the page.
    """

    view: View
    paper: float
    top: float
    bottom: float

    def dimension(self, dim: Dimension) -> list[str]:
        """Draw one dimension."""
        start, end = self.view.at(dim.start), self.view.at(dim.end)
        if dim.tool is Tool.FEELER:
            return self._drop(dim, start, end)
        if dim.tool is Tool.DEPTH_ROD:
            return self._step(dim, start, end)
        inward = _unit(start, end)
        press = inward if dim.tool is Tool.OUTSIDE_JAWS else (-inward[0], -inward[1])
        tag = self._tag(dim, start, end)
        return [
            _line(start, end, "dim"),
            self._jaw(start, press),
            self._jaw(end, (-press[0], -press[1])),
            _line(_middle(start, end), tag, "leader"),
            self._label(tag, dim.line.id),
        ]

    def _tag(self, dim: Dimension, start: _Spot, end: _Spot) -> _Spot:
        """Place of a number: on its line, or clear of the piece where the line is too short."""
        across, _ = _middle(start, end)
        if dim.line.kind is Kind.WALL:
            return across, self.top - 3.2 * self.paper
        if dim.line.axis == "z":
            return across, self.bottom + 4.2 * self.paper
        if self.view is STANDING:
            # Under the middle of the beam stands its span.
            return across - 9.0 * self.paper, start[1] + 4.2 * self.paper
        if float(np.hypot(end[0] - start[0], end[1] - start[1])) < SHORT_MM * self.paper:
            return across, start[1] + 4.2 * self.paper
        return _middle(start, end)

    def _step(self, dim: Dimension, start: _Spot, end: _Spot) -> list[str]:
        go = self.view.at(dim.approach)
        step = (end[0] - start[0]) * go[0] + (end[1] - start[1]) * go[1]
        rod = (end[0] - step * go[0], end[1] - step * go[1])
        side, over = _unit(rod, start), 1.2 * self.paper
        far = (start[0] + over * side[0], start[1] + over * side[1])
        near = (rod[0] - over * side[0], rod[1] - over * side[1])
        shapes = [
            _line(near, far, "foot"),
            _line(rod, end, "dim"),
            self._jaw(end, go),
        ]
        tag = _middle(rod, end)
        if abs(step) < SHORT_MM * self.paper:
            # A number on a short line would cover the arrows at its ends: it stands beside.
            beside = 7.0 * self.paper
            tag = (tag[0] - beside * side[0], tag[1] - beside * side[1])
            shapes.append(_line(_middle(rod, end), tag, "leader"))
        return [*shapes, self._label(tag, dim.line.id)]

    def _drop(self, dim: Dimension, start: _Spot, end: _Spot) -> list[str]:
        held = dim.line.kind is Kind.BRIDGE
        place = (start[0] + end[0]) / 2.0 if held else end[0] - 0.6 * self.paper
        edge = self.top - 0.5 * self.paper
        reach = 5.0 * self.paper
        # One straightedge lies on all posts of a bar and reaches past the tip of its arm.
        ends = (start[0] - (1.0 if held else 3.0) * reach, end[0] + reach)
        label = (place, self.top - 4.5 * self.paper)
        span_y = start[1] + (0.0 if held else 1.0)
        return [
            _line((ends[0], edge), (ends[1], edge), "straightedge"),
            _line(label, (place, edge), "leader"),
            self._jaw((place, self.top), (0.0, 1.0)),
            self._label(label, dim.line.id),
            _line((start[0], span_y), (end[0], span_y), "dim"),
            self._jaw((start[0], span_y), (-1.0, 0.0)),
            self._jaw((end[0], span_y), (1.0, 0.0)),
            _text(
                ((start[0] + end[0]) / 2.0, span_y - 2.0 * self.paper),
                f"{dim.line.nominal:g}",
                self.paper,
            ),
        ]

    def _jaw(self, tip: _Spot, direction: _Spot) -> str:
        """Draw a filled triangle along ``direction`` with its tip on a face."""
        long, half = 2.0 * self.paper, 0.8 * self.paper
        back = (tip[0] - long * direction[0], tip[1] - long * direction[1])
        side = (-direction[1] * half, direction[0] * half)
        points = (
            tip,
            (back[0] + side[0], back[1] + side[1]),
            (back[0] - side[0], back[1] - side[1]),
        )
        return f'<polygon points="{" ".join(f"{x:.2f},{y:.2f}" for x, y in points)}" class="jaw"/>'

    def _label(self, at: _Spot, text: str) -> str:
        wide, high = (1.4 + 1.75 * len(text)) * self.paper, 4.0 * self.paper
        return (
            f'<rect x="{at[0] - wide / 2.0:.2f}" y="{at[1] - high / 2.0:.2f}" width="{wide:.2f}" '
            f'height="{high:.2f}" rx="{high / 2.0:.2f}" class="tag"/>'
            f'<text x="{at[0]:.2f}" y="{at[1] + 1.05 * self.paper:.2f}" class="id" '
            f'font-size="{2.9 * self.paper:.2f}">{text}</text>'
        )


def _svg(shapes: Iterable[str], box: tuple[float, float, float, float], width: float) -> str:
    x, y, dx, dy = box
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{x:.2f} {y:.2f} {dx:.2f} {dy:.2f}" '
        f'style="width:{width:.1f}mm;height:{width * dy / dx:.1f}mm" role="img">'
        f"{''.join(shapes)}</svg>"
    )


def _rect(place: tuple[float, ...], style: str, rounding: float = 0.0) -> str:
    x, y, dx, dy = place
    return (
        f'<rect x="{x:.2f}" y="{-y - dy:.2f}" width="{dx:.2f}" height="{dy:.2f}" '
        f'rx="{rounding:.2f}" class="{style}"/>'
    )


def _line(start: _Spot, end: _Spot, style: str) -> str:
    return (
        f'<line x1="{start[0]:.2f}" y1="{start[1]:.2f}" x2="{end[0]:.2f}" y2="{end[1]:.2f}" '
        f'class="{style}"/>'
    )


def _text(at: _Spot, text: str, paper: float) -> str:
    return (
        f'<text x="{at[0]:.2f}" y="{at[1] + 1.0 * paper:.2f}" class="word" '
        f'font-size="{2.9 * paper:.2f}">{text}</text>'
    )


def _middle(one: _Spot, other: _Spot) -> _Spot:
    return (one[0] + other[0]) / 2.0, (one[1] + other[1]) / 2.0


def _unit(start: _Spot, end: _Spot) -> _Spot:
    x, y = end[0] - start[0], end[1] - start[1]
    length = float(np.hypot(x, y))
    return x / length, y / length
