"""Bodies with nothing thin, but with what may be mistaken for it."""

from __future__ import annotations

import math

import numpy as np
import shapely
import trimesh

from .part import FloatArray
from .setting import Draft, Setting
from .solids import Solid, block, fin, finished, joined, polygon, prism, rod, turned

UP = np.array([0.0, 0.0, 1.0])


def _edge(setting: Setting) -> float | None:
    return setting.between(0.7, 1.3) if setting.fine else None


def plain_block(setting: Setting) -> Draft:
    """Box, at any turn; its edges are square."""
    setting.tumble() if setting.chance(0.6) else setting.stand()
    size = [max(setting.between(2.2, 6) * setting.bead, setting.between(2, 40)) for _ in range(3)]
    mesh = finished(block((size[0], size[1], size[2]), (0, 0, 0)), _edge(setting))
    return setting.draft(mesh, (), (), "plain block")


def gear(setting: Setting) -> Draft:
    """Spur gear with a bore; its teeth are over two beads wide at the tip."""
    setting.tumble() if setting.chance(0.5) else setting.stand()
    teeth = setting.whole(8, 20)
    tip = setting.between(2.2, 3.0) * setting.bead
    root = tip * setting.between(1.15, 1.5)
    high = setting.between(0.8, 1.4) * tip
    pitch = root + tip + 2 * setting.bead
    inner = pitch * teeth / (2 * math.pi)
    angles = np.arange(teeth) * 2 * math.pi / teeth
    tooth = np.array([[inner, -root / 2], [inner + high, -tip / 2],
                      [inner + high, tip / 2], [inner, root / 2]])  # fmt: skip
    cosines, sines = np.cos(angles)[:, None], np.sin(angles)[:, None]
    x = tooth[None, :, 0] * cosines - tooth[None, :, 1] * sines
    y = tooth[None, :, 0] * sines + tooth[None, :, 1] * cosines
    outline = shapely.Polygon(np.column_stack((x.ravel(), y.ravel())))
    bore = polygon(setting.sides((16, 24), (48, 64)), setting.between(0.6, 1.0) * inner)
    thick = max(setting.between(3, 12), 2.3 * setting.bead)
    solid = prism(outline.difference(shapely.Polygon(bore)), 0, thick)
    return setting.draft(finished(solid, _edge(setting)), (), (), f"gear of {teeth} teeth")


def bracket(setting: Setting) -> Draft:
    """Angle bracket with a fillet, rounded corners and holes."""
    setting.tumble()
    thick = max(setting.between(2.15, 3.0) * setting.bead, setting.between(2, 5))
    arm, wide = setting.between(14, 28), setting.between(12, 25)
    profile = shapely.box(0, 0, arm, thick).union(shapely.box(0, 0, thick, arm))
    fillet, quads = setting.between(0.5, 4), 12 if setting.fine else 3
    profile = profile.buffer(fillet, quad_segs=quads, join_style="mitre").buffer(
        -fillet, quad_segs=quads
    )
    solid = fin(profile, 0, wide)
    bore = min(setting.between(1.0, 2.5), wide / 2 - 2.3 * setting.bead)
    if bore > 0.8:
        sides = setting.sides((12, 20), (32, 48))
        middle = np.array([(arm + thick + fillet) / 2, wide / 2, 0.0])
        drill = rod(polygon(sides, 2 * bore), middle - UP, middle + (thick + 1) * UP)
        if middle[0] + bore * 1.1 < arm - 2.2 * setting.bead:
            solid = solid - drill
    return setting.draft(finished(solid, _edge(setting)), (), (), f"bracket {thick:.2f} thick")


def boss_plate(setting: Setting) -> Draft:
    """Plate with bosses, thick ribs and blind holes."""
    setting.tumble() if setting.chance(0.5) else setting.stand()
    limit = 2.15 * setting.bead
    plate = max(limit, setting.between(2.0, 5.0))
    count = setting.whole(1, 3)
    bodies: list[Solid] = [block((count * 18.0, 18.0, plate), (0, 0, -plate / 2))]
    cuts: list[Solid] = []
    for index in range(count):  # over bosses
        x = (index - (count - 1) / 2) * 18.0
        bore = setting.between(0.8, 1.8)
        radius = bore * 1.08 + limit * setting.between(1.0, 1.5)
        high = setting.between(3, 9)
        sides = setting.sides((12, 24), (48, 64))
        bodies.append(prism(polygon(sides, 2 * radius), -0.5, high).translate((x, 0, 0)))
        rib = setting.between(1.0, 1.3) * limit
        bodies.append(block((rib, 17.0, 2 * high * 0.6), (x, 0, 0)) ^ block(
            (200, 200, 200), (0, 0, 100 - plate / 2)))  # fmt: skip
        bottom = setting.between(0.3, 1.0)
        cuts.append(prism(polygon(sides, 2 * bore), bottom, high + 1).translate((x, 0, 0)))
    solid = joined(*bodies) - joined(*cuts)
    return setting.draft(finished(solid, _edge(setting)), (), (), f"plate with {count} bosses")


def stairs(setting: Setting) -> Draft:
    """Steps of one layer and more; each is a corner and none a wall."""
    setting.stand() if setting.chance(0.7) else setting.tumble()
    count, wide = setting.whole(3, 12), setting.between(6, 20)
    tread, rise = setting.between(0.3, 3.0), setting.between(0.1, 2.0)
    base = max(2.3 * setting.bead, 2.0)
    levels = np.repeat(np.arange(count + 1), 2)
    x = levels[1:] * tread
    z = base + levels[:-1] * rise
    end = count * tread + 2.3 * setting.bead
    top = base + count * rise
    # Down the stairs from the top: the last tread is as deep as two beads and more.
    stair = np.column_stack((x[:-1], z[:-1]))
    profile = np.vstack(([0, 0], [end, 0], [end, top], [count * tread, top], stair[::-1]))
    profile = profile[np.append(True, np.abs(np.diff(profile, axis=0)).sum(axis=1) > 1e-9)]
    polygonal = shapely.geometry.polygon.orient(shapely.Polygon(profile).buffer(0))
    return setting.draft(
        finished(fin(polygonal, 0, wide), _edge(setting)), (), (), f"stairs of {count} steps"
    )


def rounded_solid(setting: Setting) -> Draft:
    """Egg, lens-free: an ellipsoid, coarse or fine."""
    setting.tumble()
    levels = setting.whole(2, 3) if not setting.fine else setting.whole(4, 5)
    ball = trimesh.creation.icosphere(subdivisions=levels)
    least = setting.between(3, 8)
    axes = least * setting.rng.uniform(1.0, 2.0, 3)
    mesh = trimesh.Trimesh(ball.vertices * axes, ball.faces, process=False)
    return setting.draft(mesh, (), (), f"ellipsoid of {len(ball.faces)} facets")


def blended(setting: Setting) -> Draft:
    """Balls run together: creases turn inward, necks are over two beads."""
    setting.tumble()
    radius = max(setting.between(3, 7), 2.2 * setting.bead)
    count = setting.whole(2, 5)
    sides = setting.whole(16, 32) if not setting.fine else setting.whole(48, 72)
    ball = Solid.sphere(radius, sides)
    way = setting.rng.normal(size=(count, 3))
    way *= radius * setting.between(0.7, 1.1) / np.linalg.norm(way, axis=1, keepdims=True)
    middles = np.cumsum(way, axis=0)
    solid = joined(*(ball.translate(tuple(float(v) for v in middle)) for middle in middles))
    return setting.draft(finished(solid), (), (), f"{count} balls run together")


def warped_block(setting: Setting) -> Draft:
    """Doubly curved solid: a block bent by a smooth wave."""
    setting.tumble()
    size = np.array([setting.between(10, 25), setting.between(10, 25), setting.between(4, 9)])
    size[2] = max(size[2], 3.0 * setting.bead)
    raw = block((float(size[0]), float(size[1]), float(size[2])), (0, 0, 0))
    raw = raw.refine_to_length(setting.between(0.7, 1.0) if setting.fine else 2.2)
    wave, lift = setting.between(14, 24), setting.between(0.4, 1.0)

    def warp(points: FloatArray) -> FloatArray:
        k = 2 * math.pi / wave
        out = np.array(points)
        out[:, 2] += lift * np.sin(k * points[:, 0]) * np.cos(k * points[:, 1])
        out[:, 0] += 0.5 * lift * np.sin(k * points[:, 1])
        return out

    return setting.draft(finished(raw.warp_batch(warp)), (), (), "block bent by a wave")


def stepped_shaft(setting: Setting) -> Draft:
    """Turned shaft with shoulders, grooves, chamfers and a fillet."""
    setting.tumble() if setting.chance(0.5) else setting.stand()
    radius, height = 0.0, 0.0
    rows: list[tuple[float, float]] = [(0.0, 0.0)]
    last = 0.0
    for _ in range(setting.whole(2, 5)):  # over steps of the shaft
        radius = max(setting.between(1.6, 9), 1.2 * setting.bead)
        while abs(radius - last) < 0.25:
            radius += 0.3
        long = max(setting.between(1, 8), 2.3 * setting.bead)
        rows += [(radius, height), (radius, height + long)]
        height, last = height + long, radius
    rows += [(last - 0.4, height + 0.4), (0.0, height + 0.4)]
    sides = setting.sides((12, 32), (64, 96))
    mesh = finished(turned(np.array(rows), sides), _edge(setting))
    return setting.draft(mesh, (), (), f"stepped shaft of {sides} flats")
