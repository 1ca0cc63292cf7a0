"""Skins over bores, webs between bores and between cavities."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import shapely
import shapely.affinity
from shapely.ops import nearest_points

from .part import SINGLE_BEAD, THIN_WALL, Expected, FloatArray
from .setting import Draft, Setting, rotation
from .solids import block, finished, moved, polygon, prism

X_AXIS = np.array([1.0, 0.0, 0.0])
Z_AXIS = np.array([0.0, 0.0, 1.0])


def _stand_bores(setting: Setting) -> bool:
    """Stand bores upright or leaning, or lay them level with their skins on top.

    Returns whether the skins towards X are floors then.
    """
    if setting.chance(0.7):
        setting.stand_or_lean(50)
        return False
    setting.stand()
    setting.turn = setting.turn @ rotation(np.array([0.0, 1.0, 0.0]), -90.0)
    return True


def round_hole(setting: Setting, radius: float, middle: tuple[float, float]) -> shapely.Polygon:
    """Bore of many flats at a random turn; its flats lie at ``radius`` and its corners beyond."""
    sides = setting.sides((12, 28), (48, 90))
    around = polygon(sides, 2 * radius, phase=setting.between(0, 1))
    return shapely.Polygon(around + np.array(middle))


def _skin(
    setting: Setting, outside: shapely.Polygon, holes: list[shapely.Polygon],
    pairs: list[tuple[shapely.Geometry, shapely.Geometry]], high: float, level: bool, name: str,
) -> Draft:  # fmt: skip
    """Part drawn out of a plane outline; each pair of outlines has a skin or web between it."""
    solid = prism(outside.difference(shapely.unary_union(holes)), 0, high)
    mesh = finished(solid, setting.between(0.6, 1.0) if setting.fine else None)
    expected: list[Expected] = []
    for first, second in pairs:
        across = float(first.distance(second))
        ends = [np.array(point.coords[0]) for point in nearest_points(first, second)]
        middle = (ends[0] + ends[1]) / 2
        way = np.append(ends[1] - ends[0], 0.0)
        steps = np.linspace(across, high - across, max(3, int(high / 1.5)))
        at = np.column_stack((np.tile(middle, (len(steps), 1)), steps))
        limit = setting.bead if across < setting.bead else 2 * setting.bead
        if level:
            limit = setting.floor
        width = _near_length(first, second, limit) + _near_length(second, first, limit)
        area = 0.4 * width * (high - 2 * across) * (0.4 if level else 1.0)
        # Flats and corners change the way across by less than the corners stand out.
        slack = 0.006 * across if setting.fine else 0.012 * across
        expected += setting.sheet_place(across, way, at, area, slack)
    allowed: tuple[str, ...] = ()
    if expected:
        allowed = (SINGLE_BEAD, THIN_WALL) if level else ()
        if any(place.least_mm < setting.bead for place in expected):
            allowed = (*allowed, SINGLE_BEAD)
    return setting.draft(mesh, expected, allowed, name)


def _near_length(line: shapely.Geometry, other: shapely.Geometry, limit: float) -> float:
    """Length of an outline that is nearer to the other one than a limit."""
    return float(line.intersection(other.buffer(limit, quad_segs=32)).length)


def _skin_thickness(setting: Setting, level: bool) -> float:
    if not level:
        return setting.wall()
    if setting.sound:
        return setting.between(2.1, 4) * setting.bead
    return setting.between(0.5, 0.97) * setting.floor


def drilled_shaft(setting: Setting) -> Draft:
    """Shaft with a bore near its skin."""
    level = _stand_bores(setting)
    skin = _skin_thickness(setting, level)
    bore = setting.between(1.5, 4)
    radius = max(setting.between(5, 11), bore + skin + 3 * setting.bead, 2 * bore + skin)
    sides = setting.sides((16, 36), (72, 120))
    # One flat of the shaft faces X, where the skin is.
    outside = shapely.Polygon(polygon(sides, 2 * radius))
    hole = round_hole(setting, bore, (radius - skin - bore, 0.0))
    gap = float(outside.exterior.distance(hole.exterior))
    hole = shapely.affinity.translate(hole, gap - skin)
    pair: list[tuple[shapely.Geometry, shapely.Geometry]] = [(outside.exterior, hole.exterior)]
    return _skin(setting, outside, [hole], pair, setting.between(8, 25), level,
                 f"shaft of {2 * radius:.1f} with a bore under a skin of {skin:.2f}")  # fmt: skip


def bore_near_flat(setting: Setting) -> Draft:
    """Block with a bore near one of its faces."""
    level = _stand_bores(setting)
    skin = _skin_thickness(setting, level)
    bore = setting.between(1.5, 5)
    back = 3 * setting.bead + setting.between(1, 4)
    wide = 2 * bore + 2 * back
    outside = shapely.box(-wide / 2, -wide / 2, wide / 2, wide / 2)
    hole = round_hole(setting, bore, (0.0, 0.0))
    shift = wide / 2 - skin - hole.bounds[2]
    hole = shapely.affinity.translate(hole, shift)
    face = shapely.LineString([(wide / 2, -wide / 2), (wide / 2, wide / 2)])
    pair: list[tuple[shapely.Geometry, shapely.Geometry]] = [(face, hole.exterior)]
    return _skin(setting, outside, [hole], pair, setting.between(8, 25), level,
                 f"bore {skin:.2f} under a flat")  # fmt: skip


def webs(setting: Setting) -> Draft:
    """Row of bores with webs between them."""
    setting.stand_or_lean(50)
    count = setting.whole(2, 4)
    bore, web = setting.between(1.5, 4), setting.wall()
    holes: list[shapely.Polygon] = []
    for _ in range(count):  # over bores
        hole = round_hole(setting, bore, (0.0, 0.0))
        if holes:
            hole = shapely.affinity.translate(hole, holes[-1].bounds[2] + 2 * bore)
            gap = float(hole.distance(holes[-1]))
            for _ in range(8):  # the way across follows the shift all but exactly
                hole = shapely.affinity.translate(hole, web - gap)
                gap = float(hole.distance(holes[-1]))
        holes.append(hole)
    low, _, high, _ = shapely.unary_union(holes).bounds
    rim = 3 * setting.bead + 1.5
    outside = shapely.box(low - rim, -bore * 1.1 - rim, high + rim, bore * 1.1 + rim)
    pairs: list[tuple[shapely.Geometry, shapely.Geometry]] = [
        (first.exterior, second.exterior) for first, second in pairwise(holes)
    ]
    return _skin(setting, outside, holes, pairs, setting.between(8, 22), False,
                 f"{count} bores with webs of {web:.2f}")  # fmt: skip


def crossing_bores(setting: Setting) -> Draft:
    """Two bores square to each other that pass at a short distance."""
    setting.tumble(X_AXIS[None])
    if setting.is_floor(X_AXIS):
        setting.stand()
    web = setting.wall()
    radii = setting.between(1.5, 3.5), setting.between(1.5, 3.5)
    sides = setting.sides((12, 20), (32, 64))
    # Both bores show each other a flat.
    bores = [prism(polygon(sides, 2 * radius), -40, 40) for radius in radii]
    level = rotation(X_AXIS, 90.0)
    second = moved(bores[1], level @ rotation(Z_AXIS, 180.0), np.array([radii[0] + radii[1] + web,
                                                                       0, 0]))  # fmt: skip
    wide = 2 * sum(radii) + web + 6 * setting.bead + 3
    high = 2 * max(radii) + 6 * setting.bead + 3
    body = block((wide, high, high), (radii[1] + web / 2, 0, 0))
    mesh = finished(body - bores[0] - second, setting.between(0.7, 1.2) if setting.fine else None)
    at = np.array([[radii[0] + web / 2, 0, 0]])
    places = setting.wall_place(web, at, None, 0.01 * web)
    allowed = (SINGLE_BEAD,) if places and web < setting.bead else ()
    return setting.draft(mesh, places, allowed, f"two bores that pass {web:.2f} apart")


def cavities(setting: Setting) -> Draft:
    """Two closed cavities with a plane web between them, or one behind a thin face."""
    setting.tumble(X_AXIS[None])
    web = setting.sheet(X_AXIS)
    size = np.array([setting.between(3, 8), setting.between(5, 14), setting.between(5, 14)])
    rim = 3 * setting.bead + 1.5
    two = setting.chance(0.6)
    pitch = size[0] + web
    first = block(_triple(size), (-web / 2 - size[0] / 2, 0, 0))
    if two:
        outer = block(_triple(size + np.array([pitch + 2 * rim, 2 * rim, 2 * rim])), (0, 0, 0))
        body = outer - first - block(_triple(size), (web / 2 + size[0] / 2, 0, 0))
    else:
        outer = block(
            _triple(size + np.array([web + rim, 2 * rim, 2 * rim])), (-(size[0] + rim) / 2, 0, 0)
        )
        body = outer - first
    mesh = finished(body, setting.between(0.7, 1.3) if setting.fine else None)
    clear = size / 2 - web * 0.6
    y, z = (grid.ravel() for grid in np.meshgrid(
        np.linspace(-clear[1], clear[1], 5), np.linspace(-clear[2], clear[2], 5)))  # fmt: skip
    at: FloatArray = np.column_stack((0 * y, y, z))
    places = setting.sheet_place(web, X_AXIS, at, 0.85 * 2 * float(size[1] * size[2]))
    name = "web between two cavities" if two else "face before a cavity"
    return setting.draft(mesh, places, (), f"{name}, {web:.2f}")


def _triple(size: FloatArray) -> tuple[float, float, float]:
    return float(size[0]), float(size[1]), float(size[2])


def radial_bores(setting: Setting) -> Draft:
    """Ring of bores in a flange: webs between neighbours, all alike."""
    setting.stand_or_lean(50)
    count = setting.whole(6, 9)
    web, bore = setting.wall(), setting.between(2.0, 3.0)
    sides = setting.sides((12, 20), (32, 48))
    pitch = (2 * bore + web) / (2 * math.sin(math.pi / count))
    angles = np.arange(count) * 2 * math.pi / count
    outline = polygon(sides, 2 * bore, phase=0.0)
    holes = []
    for angle in angles:  # over bores
        spin = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        holes.append(shapely.Polygon((outline + (pitch, 0.0)) @ spin.T))
    rim = 3 * setting.bead + 1.5
    outside = shapely.Polygon(polygon(64, 2 * (pitch + bore * 1.1 + rim)))
    pairs: list[tuple[shapely.Geometry, shapely.Geometry]] = [
        (first.exterior, second.exterior)
        for first, second in zip(holes, holes[1:] + holes[:1], strict=True)
    ]
    return _skin(setting, outside, holes, pairs, setting.between(5, 12), False,
                 f"ring of {count} bores with webs of {web:.2f}")  # fmt: skip
