"""Every true dimension of a body, from the surfaces of its construction."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from .body import Body, Mesh
from .faces import SAME, Cylinder, PlaneFace, neighbours, parallel_planes, room, spots_in, square_to
from .solids import Array, Indices

ROOM_MM = 1.0
"""Least room for the foot of a depth rod."""
JAW_MM = 0.5
"""Least room for the jaws of a caliper."""
BLEND_MM = 3.0


@dataclass(frozen=True)
class Dimension:
    """A true distance of a part.

    Parameters
    ----------
    kind
        One of ``outside``, ``inside``, ``step``, ``bore``, ``boss``, ``depth``,
        ``axis_distance``, ``axis_to_face``, ``wall`` and ``height``; in the list of all true
        distances also ``span``: from a cylinder's surface to a face or another cylinder.
    value_mm
        The distance; a diameter is that of the circle through the facets' corners.
    direction
        Unit vector along the distance; the axis where ``radial``.
    place
        A point on it, mm.
    over_flats_mm
        The same over the flats, for diameters and coaxial walls.
    radial
        Whether the distance is taken across an axis in any direction.
    room_mm
        Diameter of the largest circle in which two faces overlap, or the length over which an
        axis lies beside what it is measured to; negative where they do not overlap.
    """

    kind: str
    value_mm: float
    direction: Array
    place: Array
    over_flats_mm: float | None = None
    radial: bool = False
    room_mm: float = 0.0


@dataclass
class Truth:
    """What is planted and what is true.

    Parameters
    ----------
    planted
        The complete list that must be found.
    allowed
        Every true distance, also those that need not be found.
    """

    planted: list[Dimension]
    allowed: list[Dimension]

    def tell(self, must: bool, found: Dimension) -> None:
        """Add one.

        Parameters
        ----------
        must
            Whether it must be found.
        found
            The distance.
        """
        self.allowed.append(found)
        if must:
            self.planted.append(found)


def truth_of(body: Body, mesh: Mesh, planes: list[PlaneFace], rounds: list[Cylinder]) -> Truth:
    """Every dimension of a body.

    Parameters
    ----------
    body
        The construction.
    mesh
        Its mesh.
    planes, rounds
        The faces of the mesh.

    Returns
    -------
    Truth
        In the body's own coordinates, each planted value once a kind and direction.
    """
    truth = Truth([], [])
    bottom = float(mesh.vertices[:, 2].min())
    for low, high in parallel_planes(planes):
        if low.sign == high.sign:
            _step(truth, body, mesh, low, high)
        else:
            _across(truth, body, low, high, bottom)
    for one in rounds:
        _round(truth, body, one, planes)
    for a, b in combinations(rounds, 2):
        if abs(a.axis @ b.axis) > 1 - 1e-9:
            _two_axes(truth, body, a, b)
    for one in rounds:
        for plane in planes:
            if abs(one.axis @ plane.direction) < 1e-7:
                _to_face(truth, mesh, one, plane)
    return Truth(_once(truth.planted), truth.allowed)


def _between(body: Body, low: PlaneFace, spots: Array, start: float, end: float) -> Array:
    """Share of metal between two levels over spots."""
    lift = low.direction
    flat = spots @ low.turn[:, :2].T
    return body.filled(flat + start * lift, flat + end * lift)[0]


def _across(truth: Truth, body: Body, low: PlaneFace, high: PlaneFace, bottom: float) -> None:
    value = high.level - low.level
    overlap = shapely.intersection(low.region, high.region, grid_size=1e-7)
    wide = room(overlap)
    spots = spots_in(overlap)
    metal = np.empty(0)
    if len(spots):
        metal = _between(body, low, spots, low.level + SAME, high.level - SAME)
    plain = wide >= JAW_MM and not (low.bevel or high.bevel)
    place = low.place(spots[:1] if len(spots) else _any_spot(low))[0]

    def told(kind: str) -> Dimension:
        return Dimension(kind, value, low.direction, place, room_mm=wide)

    if high.sign < 0:
        air = metal < SAME
        if air.any():
            truth.tell(plain and bool(air.mean() >= 0.25), told("inside"))
        return
    full = metal > 1 - SAME
    if full.any():
        truth.allowed.append(told("wall"))
    upright = low.direction[2] > 1 - SAME and abs(low.level - bottom) < SAME
    kind = "height" if upright else "outside"
    truth.tell(plain, told("wall" if full.any() and full.mean() > 0.9 and not upright else kind))
    truth.allowed.extend([told("outside"), told("height")])


def _any_spot(face: PlaneFace) -> Array:
    point = face.region.representative_point()
    return np.array([[point.x, point.y]])


def _step(truth: Truth, body: Body, mesh: Mesh, low: PlaneFace, high: PlaneFace) -> None:
    value = high.level - low.level
    floor, roof = (low, high) if low.sign > 0 else (high, low)
    gap = float(shapely.distance(floor.region, roof.region))
    must, wide = False, 0.0
    place = floor.place(_any_spot(floor))[0]
    if gap < BLEND_MM and not (low.bevel or high.bevel):
        reach = gap + 2.0
        near = shapely.intersection(floor.region, shapely.buffer(roof.region, reach))
        stand = shapely.intersection(roof.region, shapely.buffer(floor.region, reach))
        wide = min(room(near), room(stand))
        spots = spots_in(near)
        if len(spots):
            place = floor.place(spots[:1])[0]
            air = _between(
                body, low, spots, floor.level + floor.sign * SAME, roof.level + floor.sign * 1.0
            )
            open_up = bool((air < SAME).mean() >= 0.25)
            joined = gap < 1e-4 or _joined_by_blend(mesh, floor, roof, gap)
            must = open_up and joined and wide >= ROOM_MM
    truth.tell(must, Dimension("step", value, low.direction, place, room_mm=wide))


def _joined_by_blend(mesh: Mesh, floor: PlaneFace, roof: PlaneFace, gap: float) -> bool:
    """Whether walls, bevels and fillets alone lead from one face to the other."""
    middle = mesh.vertices[mesh.facets].mean(axis=1)
    flat = middle @ floor.turn[:, :2]
    level = middle @ floor.direction
    lean = np.abs(mesh.normals @ floor.direction) < 1 - SAME
    low, high = sorted((floor.level, roof.level))
    way = lean & (level > low - SAME) & (level < high + SAME)
    rows = np.flatnonzero(way)
    way[rows] = shapely.distance(roof.region, shapely.points(flat[rows])) <= gap + 0.1
    way[floor.triangles] = way[roof.triangles] = True
    pairs: Indices = neighbours(mesh)
    pairs = pairs[way[pairs].all(axis=1)]
    graph = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(len(way), len(way)))
    label = connected_components(graph, directed=False)[1]
    return bool(np.isin(label[floor.triangles], label[roof.triangles]).any())


def _round(truth: Truth, body: Body, one: Cylinder, planes: list[PlaneFace]) -> None:
    middle = one.foot + one.axis * (one.stretches[0][0] + one.stretches[0][1]) / 2
    length = sum(b - a for a, b in one.stretches)
    kind = "bore" if one.hollow else "boss"
    corner, flats = 2 * one.radius, 2 * one.flat_radius
    truth.tell(one.round, Dimension(kind, corner, one.axis, middle, flats, True, length))
    truth.allowed.append(Dimension(kind, flats, one.axis, middle, flats, True))
    across = "inside" if one.hollow else "outside"
    for value in (corner, flats):
        truth.allowed.append(Dimension(across, value, one.axis, middle, flats, True))
    if not one.hollow and _bar(body, one):
        for value in (corner, flats):
            truth.allowed.append(Dimension("wall", value, one.axis, middle, flats, True))
    for a, b in one.stretches:
        truth.allowed.append(Dimension("depth", b - a, one.axis, middle))
        if not one.hollow:
            continue
        top, bottom = _end(one, planes, b, 1), _end(one, planes, a, -1)
        if top is None or bottom is None or (top[1] and bottom[1]):
            continue
        place = one.foot + one.axis * (a + b) / 2
        truth.tell(
            one.round,
            Dimension("depth", abs(top[0] - bottom[0]), one.axis, place, room_mm=corner),
        )


def _bar(body: Body, one: Cylinder) -> bool:
    """Whether a cylinder is all metal somewhere from side to side."""
    angles = 0.1234 + np.pi * np.arange(12) / 12
    x, y = square_to(one.axis)
    spokes = (np.cos(angles)[:, None] * x + np.sin(angles)[:, None] * y) * (one.flat_radius - 1e-5)
    levels = np.concatenate([np.linspace(a, b, 9)[1:-1] for a, b in one.stretches])
    feet = (one.foot + levels[:, None] * one.axis)[:, None, :]
    ends = (feet + spokes).reshape(-1, 3), (feet - spokes).reshape(-1, 3)
    return bool((body.filled(*ends)[0] > 1 - SAME).any())


def _end(
    one: Cylinder, planes: list[PlaneFace], level: float, way: int
) -> tuple[float, bool] | None:
    """Level of the face in which a bore ends, and whether that is its floor."""
    best: tuple[float, bool] | None = None
    for plane in planes:
        if plane.bevel or plane.direction @ one.axis < 1 - 1e-9:
            continue
        beyond = way * (plane.level - level)
        floor = plane.sign != way
        if not -SAME < beyond < (SAME if floor else 2.0):
            continue
        x, y = one.foot @ plane.turn[:, :2]
        reach = one.radius if floor else one.radius + 2.0
        if shapely.distance(plane.region, shapely.Point(x, y)) > reach + SAME:
            continue
        if best is None or abs(best[0] - level) > beyond:
            best = (plane.level, floor)
    return best


def _overlap(a: Cylinder, b: Cylinder) -> float:
    """Longest common stretch of two parallel cylinders, negative if there is none, mm."""
    return max(min(p[1], q[1]) - max(p[0], q[0]) for p in a.stretches for q in b.stretches)


def _two_axes(truth: Truth, body: Body, a: Cylinder, b: Cylinder) -> None:
    way = b.foot - a.foot
    apart = float(np.linalg.norm(way))
    beside = _overlap(a, b)
    place = (a.foot + b.foot) / 2 + a.axis * sum(a.stretches[0]) / 2
    if apart > SAME:
        unit = way / apart
        must = a.round and b.round
        truth.tell(must, Dimension("axis_distance", apart, unit, place, room_mm=beside))
        for p in (a.radius, a.flat_radius):
            for q in (b.radius, b.flat_radius):
                for value in (apart + p + q, apart + p - q, apart - p + q, apart - p - q):
                    truth.allowed.append(Dimension("span", abs(value), unit, place))
        return
    if a.radius > b.radius:
        a, b = b, a
    kind = "step" if a.hollow == b.hollow else "inside" if b.hollow else "wall"
    must = kind == "wall" and a.round and b.round and beside >= ROOM_MM
    if kind != "step":
        share = _ring_metal(body, a, b)
        solid = share > 1 - 1e-3 if kind == "wall" else share < 1e-3
        if not solid.any():
            return
        must = must and bool(solid.mean() >= 0.25)
    flats = b.flat_radius - a.flat_radius
    truth.tell(
        must, Dimension(kind, b.radius - a.radius, a.axis, place, flats, True, room_mm=beside)
    )
    for p in (a.radius, a.flat_radius):
        for q in (b.radius, b.flat_radius):
            truth.allowed.append(Dimension(kind, abs(q - p), a.axis, place, radial=True))


def _ring_metal(body: Body, a: Cylinder, b: Cylinder) -> Array:
    """Share of metal on spokes between two coaxial cylinders where both have facets."""
    spans = [
        (max(p[0], q[0]), min(p[1], q[1]))
        for p in a.stretches
        for q in b.stretches
        if min(p[1], q[1]) - max(p[0], q[0]) > SAME
    ]
    if not spans:
        return np.empty(0)
    x, y = square_to(a.axis)
    angles = 0.1234 + 2 * np.pi * np.arange(24) / 24
    spokes = np.cos(angles)[:, None] * x + np.sin(angles)[:, None] * y
    parts = np.array([0.07, 0.31, 0.52, 0.93])
    levels = np.concatenate([lo + (hi - lo) * parts for lo, hi in spans])
    feet = (a.foot + levels[:, None] * a.axis)[:, None, :]
    inner = (feet + spokes * (a.radius + 1e-5)).reshape(-1, 3)
    outer = (feet + spokes * max(b.flat_radius - 1e-5, a.radius + 2e-5)).reshape(-1, 3)
    return body.filled(inner, outer)[0]


def _to_face(truth: Truth, mesh: Mesh, one: Cylinder, plane: PlaneFace) -> None:
    way = plane.level - float(one.foot @ plane.direction)
    value = abs(way)
    if value < SAME:
        return
    along = mesh.vertices[mesh.facets[plane.triangles]].reshape(-1, 3) @ one.axis
    beside = max(min(b, along.max()) - max(a, along.min()) for a, b in one.stretches)
    middle = one.foot + one.axis * sum(one.stretches[0]) / 2
    tangent = abs(value - one.radius) < SAME
    must = one.round and not plane.bevel and not tangent
    truth.tell(
        must, Dimension("axis_to_face", value, plane.direction, middle, room_mm=float(beside))
    )
    for radius in (one.radius, one.flat_radius):
        for span in (value + radius, abs(value - radius)):
            if span > SAME:
                truth.allowed.append(Dimension("span", span, plane.direction, middle))


def _once(given: list[Dimension]) -> list[Dimension]:
    """Each value once a kind and direction; the place with the most room stays."""
    kept: list[Dimension] = []
    for one in sorted(given, key=lambda d: -d.room_mm):
        if not any(
            k.kind == one.kind
            and abs(k.value_mm - one.value_mm) < SAME
            and abs(k.direction @ one.direction) > 1 - 1e-9
            for k in kept
        ):
            kept.append(one)
    return kept
