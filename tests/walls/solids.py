"""Solids with one thin place of chosen thickness, drawn at random.

Every builder draws its sizes from a generator and leaves ``wall`` between two faces,
across local z. ``ample`` is a thickness that passes every limit by far. Curved faces are
polyhedra; the wall left between them is measured on these by the boolean library's own
shortest distance, not by what is tested.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from manifold3d import CrossSection, Manifold
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ACROSS_MM: Final = 0.5
"""The smallest thin place that is planted, across."""


@dataclass(frozen=True)
class Draw:
    """What a builder is asked for: random numbers, wall, its limit, and an ample thickness."""

    rng: np.random.Generator
    wall: float
    limit: float
    ample: float

    def between(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def sides(self, fewest: int, most: int) -> int:
        """A number of facets around; coarse and fine ones are equally likely."""
        return int(np.exp(self.rng.uniform(np.log(fewest), np.log(most + 1))))

    def amply(self, least: float, most: float) -> float:
        return self.ample * self.between(least, most)


@dataclass(frozen=True)
class Solid:
    """A solid, the box (low, high corner) of its thin place, and its least thickness.

    ``reach`` is the box beyond which nothing is thin; a place that runs all over the part
    has the part's. ``all_round`` says that the wall stands every way.
    """

    solid: Manifold
    low: Floats
    high: Floats
    least: float
    all_round: bool = False
    tip: bool = False


def block(low: tuple[float, float, float], high: tuple[float, float, float]) -> Manifold:
    size = np.subtract(high, low)
    return Manifold.cube((float(size[0]), float(size[1]), float(size[2]))).translate(low)


def bore(radius: float, length: float, sides: int, phase: float = 0.0) -> Manifold:
    """A cylinder about y, centred."""
    turned = Manifold.cylinder(length, radius, radius, sides, center=True)
    return turned.rotate((0.0, 0.0, phase)).rotate((90.0, 0.0, 0.0))


def prism(profile: list[tuple[float, float]], width: float) -> Manifold:
    """Pull a profile in (x, z) along y, centred."""
    ring = CrossSection([profile])
    return ring.extrude(width).translate((0.0, 0.0, -width / 2.0)).rotate((90.0, 0.0, 0.0))


def _box_of(points: list[tuple[float, float, float]]) -> tuple[Floats, Floats]:
    return np.min(points, axis=0), np.max(points, axis=0)


def _pocketed(draw: Draw, cutter: Manifold, across: float, deep: float) -> Solid:
    """Cut a blind pocket with its deepest point at z = 0 into a plate whose face is z = wall."""
    side = across + draw.amply(2.4, 3.4)
    x, y = draw.between(-0.3, 0.3) * draw.ample, draw.between(-0.3, 0.3) * draw.ample
    plate = block((-side / 2 + x, -side / 2 + y, -deep), (side / 2 + x, side / 2 + y, draw.wall))
    half = across / 2.0
    low, high = _box_of([(-half, -half, 0.0), (half, half, draw.wall)])
    return Solid(plate - cutter, low, high, draw.wall)


def round_pocket(draw: Draw) -> Solid:
    """A blind hole from behind; its flat floor is the only thin place."""
    across, sides, deep = draw.between(ACROSS_MM, 2.5), draw.sides(5, 48), draw.amply(1.0, 2.5)
    radius = across / 2.0 / np.cos(np.pi / sides)
    cutter = Manifold.cylinder(deep + 1.0, radius, radius, sides).translate((0, 0, -deep - 1.0))
    return _pocketed(draw, cutter, across, deep)


def square_pocket(draw: Draw) -> Solid:
    """A blind square pocket from behind."""
    across, deep = draw.between(ACROSS_MM, 2.5), draw.amply(1.0, 2.5)
    longer = across * draw.between(1.0, 2.0)
    cutter = block((-across / 2, -longer / 2, -deep - 1.0), (across / 2, longer / 2, 0.0))
    return _pocketed(draw, cutter.rotate((0, 0, draw.between(0, 90))), longer, deep)


def _dome(draw: Draw, deep: float) -> Manifold:
    """A faceted ball with its highest point at the origin, open downward to z = -deep."""
    sides, turn = draw.sides(12, 40), (draw.between(0, 90), draw.between(0, 90), 0.0)
    half, radius = draw.between(0.6, 1.6) * ACROSS_MM, draw.between(0.5, 4.0)
    sag = draw.limit - draw.wall
    if sag > 0.0:
        radius = max((half**2 + sag**2) / (2.0 * sag), half)
        # Coarse facets run to a tip that is slimmer than the ball; what counts is the place.
        while min(_size(_ball(radius, sides, turn).slice(-sag))) < ACROSS_MM:
            radius, sides = 1.05 * radius, sides + 8
    ball = _ball(radius, sides, turn)
    return Manifold.hull(ball.translate((0, 0, -deep)) + ball) if deep > radius else ball


def _size(section: CrossSection) -> tuple[float, float]:
    x, y, far_x, far_y = section.bounds()
    return far_x - x, far_y - y


def _ball(radius: float, sides: int, turn: tuple[float, float, float]) -> Manifold:
    ball = Manifold.sphere(radius, sides).rotate(turn)
    points = np.asarray(ball.to_mesh64().vert_properties)[:, :3]
    top = points[points[:, 2].argmax()]
    return ball.translate((-top[0], -top[1], -top[2]))


def _mouth(dome: Manifold, deep: float) -> float:
    """Width of the widest opening a dome can have down to a depth."""
    box = dome.trim_by_plane((0, 0, 1), -deep).bounding_box()
    return 2.0 * float(max(-box[0], -box[1], box[3], box[4]))


def round_dimple(draw: Draw) -> Solid:
    """A ball pressed into the back of a plate: thinnest at one point."""
    deep = draw.amply(1.0, 1.4)
    dome = _dome(draw, deep)
    made = _pocketed(draw, dome, _mouth(dome, deep), deep)
    half = ACROSS_MM / 2.0
    low, high = _box_of([(-half, -half, 0.0), (half, half, draw.wall)])
    return Solid(made.solid, low, high, draw.wall)


def lens(draw: Draw) -> Solid:
    """Balls pressed into both sides of a plate, a little beside each other."""
    deep = draw.amply(0.8, 1.2)
    under, over = _dome(draw, deep), _dome(draw, deep)
    wide = max(_mouth(under, deep), _mouth(over, deep)) + draw.amply(2.4, 3.2)
    over = over.mirror((0, 0, 1)).translate((draw.between(0, 0.1), draw.between(0, 0.1), draw.wall))
    plate = block((-wide / 2, -wide / 2, -deep), (wide / 2, wide / 2, draw.wall + deep))
    low, high = _box_of([(-0.25, -0.25, 0.0), (0.25, 0.25, draw.wall)])
    return Solid(plate - under - over, low, high, under.min_gap(over, 10.0 * draw.ample))


def _cut_length(draw: Draw) -> tuple[float, float]:
    """Length of a block and of the cavities in it, that go through or end within."""
    length = draw.amply(1.5, 2.2)
    if draw.rng.random() < 0.5:
        return length, length + 2.0
    return length * 0.5 + draw.amply(2.0, 2.2), length * 0.5


def _phase(draw: Draw, sides: int) -> float:
    """Turn of a bore: coarse ones with a corner or a flat towards z, fine ones anyhow."""
    if sides > 32:
        return draw.between(0.0, 90.0)
    to_corner = 90.0 % (360.0 / sides)
    return to_corner + float(draw.rng.integers(2)) * 180.0 / sides


def _between(draw: Draw, below: Manifold, above: Manifold, width: float, length: float) -> Solid:
    """A block with two cavities whose nearest points lie near the origin."""
    least = below.min_gap(above, 20.0 * draw.ample)
    box, top = below.bounding_box(), above.bounding_box()
    edge = draw.amply(1.1, 2.0)
    low = (min(box[0], top[0], -width / 2) - edge, -length / 2, box[2] - edge)
    high = (max(box[3], top[3], width / 2) + edge, length / 2, top[5] + edge)
    half = ACROSS_MM / 2.0
    place = _box_of([(-half, -half, -draw.wall / 2), (half, half, draw.wall / 2)])
    return Solid(block(low, high) - below - above, *place, least)


def parallel_bores(draw: Draw) -> Solid:
    """Two bores side by side, through or blind."""
    length, cut = _cut_length(draw)
    made = []
    for _ in range(2):
        radius, sides = draw.between(0.5, 2.5), draw.sides(6, 96)
        made.append((radius, bore(radius, cut, sides, _phase(draw, sides))))
    (lower, one), (upper, other) = made
    one = one.translate((0, 0, -draw.wall / 2 - lower))
    other = other.translate((0, 0, draw.wall / 2 + upper))
    return _between(draw, one, other, 0.0, length)


def crossing_bores(draw: Draw) -> Solid:
    """Two blind bores that pass each other at an angle: thin about one point."""
    lower, upper = draw.between(0.8, 2.0), draw.between(0.8, 2.0)
    few, more = draw.sides(8, 96), draw.sides(8, 96)
    long = 2.0 * max(lower, upper)
    one = bore(lower, long, few, _phase(draw, few)).translate((0, 0, -draw.wall / 2 - lower))
    other = bore(upper, long, more, _phase(draw, more)).translate((0, 0, draw.wall / 2 + upper))
    other = other.rotate((0, 0, draw.between(25, 90)))
    least = one.min_gap(other, 20.0 * draw.ample)
    half = 0.8 * long + draw.amply(1.1, 1.5)
    low, high = -draw.wall / 2 - 2 * lower, draw.wall / 2 + 2 * upper
    edge = draw.amply(1.1, 1.5)
    around = block((-half, -half, low - edge), (half, half, high + edge))
    place = _box_of([(-0.25, -0.25, -draw.wall / 2), (0.25, 0.25, draw.wall / 2)])
    return Solid(around - one - other, *place, least)


def corner_to_corner(draw: Draw) -> Solid:
    """Two square pockets edge to edge: thin along a diagonal only."""
    length, cut = _cut_length(draw)
    made = []
    for _ in range(2):
        side, tilt = draw.between(1.0, 3.0), draw.between(-20.0, 20.0)
        pocket = block((0, -cut / 2, -side), (side, cut / 2, 0)).rotate((0, 45.0 + tilt, 0))
        made.append(pocket)
    one = made[0].translate((0, 0, -draw.wall / 2))
    other = made[1].rotate((0, 180.0, 0)).translate((0, 0, draw.wall / 2))
    return _between(draw, one, other, 0.0, length)


def two_cones(draw: Draw) -> Solid:
    """Conical dimples from both sides, tip to tip."""
    deep = draw.amply(0.8, 1.2)
    made = []
    for _ in range(2):
        tangent = np.tan(np.radians(draw.between(35.0, 65.0)))
        cone = Manifold.cylinder(deep + 1.0, (deep + 1.0) * tangent, 0.0, draw.sides(6, 40))
        made.append(cone.rotate((0, 0, draw.between(0, 90))).translate((0, 0, -deep - 1.0)))
    wide = 2.0 * deep * 2.2 + draw.amply(2.0, 2.4)
    plate = block((-wide / 2, -wide / 2, -deep), (wide / 2, wide / 2, draw.wall + deep))
    other = made[1].mirror((0, 0, 1)).translate((0, 0, draw.wall))
    low, high = _box_of([(-0.1, -0.1, 0.0), (0.1, 0.1, draw.wall)])
    return Solid(plate - made[0] - other, low, high, draw.wall)


def rib(draw: Draw) -> Solid:
    """A rib on a body, with or without chamfers at its root; its end may be free."""
    half, tall = draw.wall / 2.0, draw.wall / 2.0 + draw.between(ACROSS_MM, 4.0)
    width = draw.amply(1.1, 3.0)
    deep, wide = draw.amply(1.1, 2.0), width + 2.0 * draw.amply(0.0, 1.0)
    root = draw.between(0.0, 0.5) * (tall - half - ACROSS_MM)
    side = half + root + draw.amply(0.3, 0.6)
    body = block((-deep, -wide / 2, -side), (0.0, wide / 2, side))
    profile = [(-0.1, -half - root), (root, -half), (tall, -half)]
    profile += [(x, -z) for x, z in reversed(profile)]
    low, high = _box_of([(root, -width / 2 + half, -half), (tall - half, width / 2 - half, half)])
    return Solid(body + prism(profile, width), low, high, draw.wall)


def step(draw: Draw) -> Solid:
    """A plate that steps down to a thin flange."""
    reach, width = draw.wall / 2 + draw.between(ACROSS_MM, 4.0), draw.amply(2.0, 4.0)
    thick, up = draw.amply(1.1, 2.0), draw.between(0.0, 1.0)
    lift = max(thick - draw.wall, 0.0) * up
    body = block((-draw.amply(2.0, 3.0), -width / 2, -lift), (0, width / 2, thick - lift))
    flange = block((-0.1, -width / 2, 0.0), (reach, width / 2, draw.wall))
    half = draw.wall / 2
    low, high = _box_of(
        [(0.0, -width / 2 + half, 0.0), (reach - half, width / 2 - half, draw.wall)]
    )
    return Solid(body + flange, low, high, draw.wall)


def neck(draw: Draw) -> Solid:
    """A bar with grooves from both sides; what is left between them is thin."""
    across, width = draw.between(ACROSS_MM, 2.5), draw.amply(1.5, 3.0)
    deep = draw.amply(0.8, 1.2)
    flare = deep * draw.between(0.0, 0.8)
    half, end = draw.wall / 2, across + flare + draw.amply(0.8, 1.2)
    bar = block((-end, -width / 2, -half - deep), (end, width / 2, half + deep))
    groove = prism(
        [
            (-across / 2, 0.0),
            (-across / 2 - flare, -deep - 1),
            (across / 2 + flare, -deep - 1),
            (across / 2, 0.0),
        ],
        width + 2.0,
    )
    under = groove.translate((0, 0, -half))
    over = groove.mirror((0, 0, 1)).translate((draw.between(-0.1, 0.1) * across, 0, half))
    low, high = _box_of([(-across / 3, -width / 2, -half), (across / 3, width / 2, half)])
    return Solid(bar - under - over, low, high, draw.wall)


def offset_notches(draw: Draw) -> Solid:
    """Notches from both sides beside each other: thin from corner to corner only."""
    slant = np.radians(draw.between(25.0, 65.0))
    aside, apart = draw.wall * np.sin(slant), draw.wall * np.cos(slant)
    width, deep, broad = draw.amply(2.0, 3.0), draw.amply(0.8, 1.2), draw.between(0.8, 2.0)
    end = 2 * broad + draw.amply(2.0, 2.5)
    bar = block((-end, -width / 2, -deep - apart / 2), (end, width / 2, deep + apart / 2))
    long = width + 2.0
    under = block((-aside / 2 - broad, -long, -deep - 2), (-aside / 2, long, -apart / 2))
    over = block((aside / 2, -long, apart / 2), (aside / 2 + broad, long, deep + 2))
    turn = (0.0, -float(np.degrees(slant)), 0.0)
    half = draw.wall / 2
    low, high = _box_of([(-0.1, -width / 2, -half), (0.1, width / 2, half)])
    return Solid((bar - under - over).rotate(turn), low, high, draw.wall)


def tapered(draw: Draw) -> Solid:
    """A rib with a slight draft; the ball below its blunt top is the smallest."""
    lean = np.radians(draw.between(0.5, 3.5))
    tip = draw.wall * (1.0 - np.sin(lean)) / np.cos(lean)
    tall, width = draw.wall + draw.between(ACROSS_MM, 4.0), draw.amply(2.5, 4.0)
    foot = tip / 2 + tall * np.tan(lean)
    deep = draw.amply(1.1, 2.0)
    body = block((-deep, -width / 2, -foot - draw.ample), (0, width / 2, foot + draw.ample))
    profile = [(-0.1, -foot), (0.0, -foot), (tall, -tip / 2), (tall, tip / 2), (0, foot)]
    wall = prism([*profile, (-0.1, foot)], width)
    half = draw.wall / 2
    low, high = _box_of(
        [(tall - draw.wall, -width / 2 + half, -half), (tall - half, width / 2 - half, half)]
    )
    return Solid(body + wall, low, high, draw.wall)


def eccentric_bore(draw: Draw) -> Solid:
    """A bore out of the middle of a rod."""
    radius, length = draw.between(1.0, 2.0), draw.amply(1.2, 2.0)
    outer = radius + draw.wall + draw.amply(0.7, 1.2)
    inside = bore(radius, length + 2.0, draw.sides(8, 96), draw.between(0, 90))
    rod = bore(outer, length, draw.sides(12, 128), draw.between(0, 90))
    inside = inside.translate((0, 0, outer - draw.wall - radius))
    around = bore(outer * 3.0, length - 1e-3, 64) - rod
    least = inside.trim_by_plane((0, 1, 0), -length / 3).min_gap(around, 20 * draw.ample)
    low, high = _box_of([(-0.25, -length / 3, outer - draw.wall), (0.25, length / 3, outer)])
    return Solid(rod - inside, low, high, least, all_round=True)


def tube(draw: Draw) -> Solid:
    """A tube whose flats lie opposite each other."""
    sides, length = draw.sides(12, 128), draw.amply(1.2, 2.0)
    radius, long = draw.between(1.5, 4.0), 1.0 / np.cos(np.pi / sides)
    outer = bore((radius + draw.wall) * long, length, sides)
    solid = outer - bore(radius * long, length + 2.0, sides)
    all_of = radius + draw.wall
    low, high = _box_of([(-all_of, -length / 2, -all_of), (all_of, length / 2, all_of)])
    return Solid(solid, low, high, draw.wall, all_round=True)


def hollow_ball(draw: Draw) -> Solid:
    """A closed shell; both faces have the same facets."""
    sides, radius = draw.sides(16, 40), draw.between(1.5, 3.5)
    outer, inner = (Manifold.sphere(r, sides) for r in (radius + draw.wall, radius))
    mesh = Manifold.sphere(1.0, sides).to_mesh64()
    corners = np.asarray(mesh.vert_properties)[np.asarray(mesh.tri_verts)]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    nearest = float(np.einsum("ij,ij->i", normals, corners[:, 0]).min())
    all_of = np.full(3, radius + draw.wall)
    return Solid(outer - inner, -all_of, all_of, draw.wall * nearest, all_round=True)


def hollow_ring(draw: Draw) -> Solid:
    """A ring with a channel along it."""
    around, about = draw.sides(16, 28), draw.sides(10, 20)
    channel, large = draw.between(0.8, 1.5), 0.0
    large = channel + draw.wall + draw.amply(0.5, 1.0)

    def ring(radius: float) -> Manifold:
        circle = CrossSection.circle(radius, about).translate((large, 0.0))
        return circle.revolve(around)

    inner = ring(channel)
    outer = ring(channel + draw.wall)
    size = large + channel + draw.wall
    cube = block((-2 * size,) * 3, (2 * size,) * 3)
    least = inner.min_gap(cube - outer, 20 * draw.ample)
    low, high = _box_of([(-size, -size, -channel - draw.wall), (size, size, channel + draw.wall)])
    return Solid(outer - inner, low, high, least, all_round=True)


def knife(draw: Draw) -> Solid:
    """A body that runs out to an edge; its wall is nothing at the very edge."""
    half = np.radians(draw.between(15.0, 36.0)) / 2.0
    thick = draw.amply(0.6, 1.0)
    long, width = thick / np.tan(half), draw.amply(2.0, 3.5)
    profile = [(0.0, 0.0), (long, -thick), (long + draw.amply(1, 2), -thick)]
    profile += [(x, -z) for x, z in reversed(profile[1:])]
    low, high = _box_of([(0.0, -width / 3, -0.05), (0.3, width / 3, 0.05)])
    return Solid(prism(profile, width), low, high, 0.0, tip=True)


def spike(draw: Draw) -> Solid:
    """A rod that runs out to a tip."""
    slope = np.tan(np.radians(draw.between(20.0, 36.0)) / 2.0)
    radius = draw.amply(0.6, 1.0)
    long, sides = radius / slope, draw.sides(12, 96)
    rod = Manifold.cylinder(draw.amply(1.0, 1.5), radius, radius, sides)
    tip = Manifold.cylinder(long, radius, 0.0, sides)
    made = rod.mirror((0, 0, 1)) + tip
    low, high = _box_of([(-0.2, -0.2, long - 0.4), (0.2, 0.2, long)])
    return Solid(made, low, high, 0.0, tip=True)


TIPS: Final = (knife, spike)
"""What runs out to nothing: a knife edge, one finding each."""

Builder = Callable[[Draw], Solid]

PLACES: Final[dict[str, Builder]] = {
    builder.__name__: builder
    for builder in (
        round_pocket,
        square_pocket,
        round_dimple,
        lens,
        parallel_bores,
        crossing_bores,
        corner_to_corner,
        two_cones,
        rib,
        step,
        neck,
        offset_notches,
        tapered,
        eccentric_bore,
        tube,
        hollow_ball,
        hollow_ring,
    )
}


def as_wide_as(builder: Builder, draw: Draw, seed: int) -> Solid:
    """Build so that the polyhedron's own least wall is what was asked for, to a nanometre."""
    wall = draw.wall
    for _ in range(6):
        asked = Draw(np.random.default_rng(seed), wall, draw.limit, draw.ample)
        made = builder(asked)
        if abs(made.least - draw.wall) < 1e-6:
            return made
        wall += draw.wall - made.least
    raise AssertionError(f"{builder} does not settle: {made.least} for {draw.wall}")


__all__ = ["PLACES", "TIPS", "Draw", "Solid", "as_wide_as", "block", "bore", "prism"]
