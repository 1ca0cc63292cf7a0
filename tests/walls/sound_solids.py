"""Solids without a thin place: what a check that cries wolf would take for one.

Edges of 75 degrees and more, tips, chamfers, fillets, holes, bosses, stairs and round
parts, all thicker than ``ample`` between any two faces that look at each other.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from manifold3d import CrossSection, Manifold

from walls.solids import Draw, block, bore, prism

Build = Callable[[Draw], Manifold]


def plain_box(draw: Draw) -> Manifold:
    return block((0, 0, 0), (draw.amply(1.1, 5.0), draw.amply(1.1, 5.0), draw.amply(1.1, 5.0)))


def chamfered_box(draw: Draw) -> Manifold:
    """Chamfers from next to nothing to half the part."""
    size = [draw.amply(2.2, 5.0) for _ in range(3)]
    cut = draw.between(0.02, 0.45) * min(size)
    sides = []
    for axis in range(3):
        less = [s - 2.0 * cut * (a != axis) for a, s in enumerate(size)]
        sides.append(Manifold.cube((less[0], less[1], less[2]), center=True))
    return Manifold.batch_hull(sides)


def filleted_box(draw: Draw) -> Manifold:
    """Edges rounded by balls of few or many facets."""
    size = np.array([draw.amply(2.0, 4.0) for _ in range(3)])
    radius = draw.between(0.1, 0.45) * float(size.min())
    ball = Manifold.sphere(radius, draw.sides(8, 32))
    at = size / 2.0 - radius
    corners = [(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]
    return Manifold.batch_hull(
        [ball.translate((x * at[0], y * at[1], z * at[2])) for x, y, z in corners]
    )


def leaning_prism(draw: Draw) -> Manifold:
    """Edges of 75 to 105 degrees."""
    wide, lean = draw.amply(2.0, 4.0), np.tan(np.radians(draw.between(-15, 15)))
    tall = draw.amply(1.4, 3.0)
    profile = [(0, 0), (wide, 0), (wide + tall * lean, tall), (tall * lean, tall)]
    return prism(profile, draw.amply(1.4, 3.0))


def roof(draw: Draw) -> Manifold:
    """A ridge of 75 to 140 degrees on a block."""
    half, down = draw.amply(1.5, 3.0), draw.amply(1.1, 2.0)
    rise = half / np.tan(np.radians(draw.between(75, 140)) / 2.0)
    return prism(
        [(-half, -down), (half, -down), (half, 0), (0, rise), (-half, 0)], draw.amply(2.0, 4.0)
    )


def cone(draw: Draw) -> Manifold:
    """A tip of 75 to 130 degrees on a rod."""
    radius, sides = draw.amply(1.2, 2.5), draw.sides(6, 64)
    rise = radius / np.tan(np.radians(draw.between(75, 130)) / 2.0)
    top = Manifold.cylinder(rise, radius, 0.0, sides)
    return top + Manifold.cylinder(draw.amply(1.1, 2), radius, radius, sides).mirror((0, 0, 1))


def rod(draw: Draw) -> Manifold:
    return bore(draw.amply(0.7, 2.0), draw.amply(1.2, 5.0), draw.sides(8, 128))


def ball(draw: Draw) -> Manifold:
    return Manifold.sphere(draw.amply(0.8, 2.0), draw.sides(16, 64))


def egg(draw: Draw) -> Manifold:
    """An ellipsoid whose pointed ends are rounder than the limit."""
    small, stretch = draw.amply(1.0, 1.5), draw.between(1.0, 1.3)
    shape = Manifold.sphere(1.0, draw.sides(24, 64))
    return shape.scale((small, small * draw.between(1.0, 1.1), small * stretch))


def ring(draw: Draw) -> Manifold:
    small = draw.amply(0.7, 1.0)
    large = small + draw.amply(0.5, 1.5)
    circle = CrossSection.circle(small, draw.sides(10, 32)).translate((large, 0.0))
    return circle.revolve(draw.sides(20, 64))


def holed_plate(draw: Draw) -> Manifold:
    """A grid of holes with walls just amply thick between them."""
    hole, thick = draw.between(0.4, 2.0), draw.amply(1.1, 2.0)
    pitch = 2.0 * hole + draw.amply(0.75, 1.2)
    many, rows = int(draw.rng.integers(1, 4)), int(draw.rng.integers(1, 3))
    edge = hole + draw.amply(0.75, 1.5)
    plate = block((-edge, -edge, 0), (pitch * (many - 1) + edge, pitch * (rows - 1) + edge, thick))
    sides = draw.sides(6, 48)
    cutter = Manifold.cylinder(thick + 2.0, hole, hole, sides).translate((0, 0, -1.0))
    for i in range(many):
        for j in range(rows):
            plate -= cutter.translate((i * pitch, j * pitch, 0))
    return plate


def boss(draw: Draw) -> Manifold:
    """A stub on a plate; it may be lower than it is wide, with a chamfered top."""
    radius, tall, sides = draw.amply(0.7, 1.2), draw.between(0.1, 4.0), draw.sides(8, 48)
    thick, side = draw.amply(0.8, 1.5), draw.amply(3.0, 4.0)
    stub = Manifold.cylinder(tall, radius, radius, sides)
    chamfer = draw.between(0.05, 0.4) * min(tall, radius)
    top = Manifold.cylinder(chamfer, radius, radius - chamfer, sides).translate((0, 0, tall))
    return block((-side / 2, -side / 2, -thick), (side / 2, side / 2, 0)) + stub + top


def stairs(draw: Draw) -> Manifold:
    """Steps from next to nothing to a wall high: none is a wall."""
    x, y, z = draw.amply(1.5, 3), draw.amply(2, 3), draw.amply(1.1, 2)
    made, start = block((0, 0, 0), (x, y, z)), 0.0
    for _ in range(3):
        start += draw.between(0.02, 1.0)
        if x - start < 1.1 * draw.ample:
            break
        top = z + draw.between(0.02, 1.0)
        made += block((start, 0, z - 0.1), (x, y, top))
        z = top
    return made


def gusset(draw: Draw) -> Manifold:
    """A bracket with a fillet of flats in its corner."""
    thick, long, tall = draw.amply(0.75, 1.2), draw.amply(2.5, 3.5), draw.amply(2.5, 3.5)
    width, fill = draw.amply(1.2, 3.0), draw.between(0.05, 0.8)
    foot = prism([(0, 0), (long, 0), (long, thick), (0, thick)], width)
    stand = prism([(0, 0), (thick, 0), (thick, tall), (0, tall)], width)
    reach = fill * min(long, tall) / 2.0
    sides = draw.sides(4, 24)
    turn = np.linspace(np.pi, 1.5 * np.pi, sides)
    curve = [(thick + reach * (1 + np.cos(a)), thick + reach * (1 + np.sin(a))) for a in turn]
    return (
        foot
        + stand
        + prism(
            [
                (thick / 2, thick / 2),
                (thick + reach, thick / 2),
                *curve[::-1],
                (thick / 2, thick + reach),
            ],
            width,
        )
    )


def counterbore(draw: Draw) -> Manifold:
    """A stepped hole; the step leaves ample floor and sides."""
    small, thick = draw.between(0.4, 1.5), draw.amply(2.0, 3.0)
    wide, deep = small + draw.between(0.1, 1.5), draw.between(0.1, 0.45) * thick
    half, sides = wide + draw.amply(0.8, 1.5), draw.sides(8, 64)
    plate = block((-half, -half, 0), (half, half, thick))
    hole = Manifold.cylinder(thick + 2, small, small, sides).translate((0, 0, -1))
    sink = Manifold.cylinder(deep + 1, wide, wide, sides).translate((0, 0, thick - deep))
    return plate - hole - sink


def rounded_rib(draw: Draw) -> Manifold:
    """A sound rib with a round end."""
    half, tall, width = draw.amply(0.36, 0.5), draw.amply(1.0, 3.0), draw.amply(1.5, 3.0)
    foot, sides = draw.amply(0.8, 1.5), 2 * draw.sides(6, 24)
    turn = np.linspace(-np.pi / 2, np.pi / 2, sides)
    end = [(tall + half * np.cos(a), half * np.sin(a)) for a in turn]
    wall = prism([(-0.1, -half), *end, (-0.1, half)], width)
    return wall + block((-foot, -width / 2, -3 * half), (0, width / 2, 3 * half))


SOUND: Final[dict[str, Build]] = {
    build.__name__: build
    for build in (
        plain_box,
        chamfered_box,
        filleted_box,
        leaning_prism,
        roof,
        cone,
        rod,
        ball,
        egg,
        ring,
        holed_plate,
        boss,
        stairs,
        gusset,
        counterbore,
        rounded_rib,
    )
}
