"""Families of parts: plates, shafts, brackets, pillow blocks, patterns, slanting bores, tubes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .kit import ALONG_Y, OVER_MM, UPRIGHT, Kit, area_of, share
from .outlines import rounded
from .solids import box, frame_along, prism, turned

STYLES = ("sharp", "round", "bevel", "top_round", "top_bevel")


def plate(kit: Kit) -> None:
    """Plate with bores, slots, pockets and bosses, one a cell.

    Parameters
    ----------
    kit
        What it is made with.
    """
    columns, rows = int(kit.rng.integers(1, 4)), int(kit.rng.integers(1, 3))
    cell_x, cell_y = kit.size(22, 30), kit.size(18, 26)
    thick = kit.size(5, 14)
    x, y = columns * cell_x + 6, rows * cell_y + 6
    kit.plate(round(x, 3), round(y, 3), thick, str(kit.rng.choice(STYLES)))
    for i in range(columns):
        for j in range(rows):
            middle = (
                round(3 + (i + 0.5) * cell_x + kit.size(-1, 1), 3),
                round(3 + (j + 0.5) * cell_y + kit.size(-1, 1), 3),
            )
            _feature(kit, middle, cell_x / 2 - 2.5, cell_y / 2 - 2.5, thick)


def _feature(kit: Kit, at: tuple[float, float], half_x: float, half_y: float, top: float) -> None:
    least = min(half_x, half_y)
    deep = kit.size(1.5, top - 2)
    mouth, up = (*at, top), (0, 0, 1)
    what = str(kit.rng.choice(["through", "blind", "counter", "slot", "pocket", "boss", "ring"]))
    if what in ("through", "blind"):
        bevel = kit.size(0.4, 1.2) if kit.chance(0.4) else 0.0
        radius = kit.size(1.5, least - 1.5)
        depth = top if what == "through" else max(deep, bevel + 1)
        kit.less(kit.bore(mouth, up, radius, depth, through=what == "through", bevel=bevel))
    elif what == "counter":
        wide = kit.size(4, least)
        narrow = kit.size(1.5, wide - 1.5)
        kit.less(kit.bore(mouth, up, wide, deep, through=False))
        inner = kit.bore((*at, top - deep), up, narrow, top - deep, through=True)
        kit.less(inner)
    elif what == "slot":
        radius = kit.size(1.5, least / 2)
        angle = float(kit.rng.choice([0.0, np.pi / 2, 0.4]))
        half = kit.size(1.0, least - radius)
        through = kit.chance(0.5)
        kit.slot(at, angle, half, radius, top, top if through else deep, through)
    elif what == "pocket":
        a, b = kit.size(3, half_x), kit.size(3, half_y)
        kit.pocket((at[0] - a, at[1] - b), (at[0] + a, at[1] + b), top, deep)
    elif what == "boss":
        height, radius = kit.size(3, 12), kit.size(3, least - 1.5)
        kit.boss(at, radius, top, height)
        if kit.chance(0.6):
            hole = kit.size(1.5, radius - 1.3)
            through = kit.chance(0.5)
            depth = height + top if through else kit.size(2, height + top - 2)
            mouth = (*at, top + height)
            kit.less(kit.bore(mouth, up, hole, depth, through=through))
    else:
        # A post in a round pocket: air between two coaxial walls.
        wide = kit.size(5, least)
        post = kit.size(1.5, wide - 2)
        kit.less(kit.bore(mouth, up, wide, deep, through=False))
        count = kit.facets(post)
        high = round(top + kit.size(1, 4), 3)
        rise = [(top - deep - 1, post), (high, post)]
        kit.body.add(turned(frame_along(up, (*at, 0.0)), rise, count, kit.phase()))
        kit.less(-share(count) * post**2 * (high - top + deep))


def shaft(kit: Kit) -> None:
    """Stepped shaft along X with bevels, a bore in its end, a cross bore or a keyway.

    Parameters
    ----------
    kit
        What it is made with.
    """
    count = int(kit.rng.integers(2, 6))
    radii = [kit.size(4, 16)]
    while len(radii) < count:
        new = kit.size(4, 16)
        if all(abs(new - r) > 1.2 for r in radii):
            radii.append(new)
    lengths = [kit.size(7, 22) for _ in radii]
    ends = np.round(np.concatenate([[0.0], np.cumsum(lengths)]), 6)
    frame = frame_along((1, 0, 0), (0, 0, 0))
    volume = 0.0
    for i, radius in enumerate(radii):
        low, high = float(ends[i]), float(ends[i + 1])
        facets = kit.facets(radius)
        profile = [(low, radius), (high, radius)]
        volume += share(facets) * radius**2 * (high - low)
        bevel = kit.size(0.5, 1.2) if kit.chance(0.5) else 0.0
        small = radius - bevel
        cone = share(facets) * (
            radius**2 * bevel - bevel / 3 * (radius**2 + radius * small + small**2)
        )
        if i == 0 and bevel:
            profile = [(low, small), (low + bevel, radius), (high, radius)]
            volume -= cone
        if i == count - 1 and bevel:
            profile = [*profile[:-1], (high - bevel, radius), (high, small)]
            volume -= cone
        if i > 0 and radii[i - 1] > radius:
            profile[0] = (low - 1, radius)
        if i < count - 1 and radii[i + 1] > radius:
            profile[-1] = (high + 1, radius)
        kit.body.add(turned(frame, profile, facets, kit.phase()))
    kit.body.volume_mm3 = volume
    least = min(radii)
    if kit.chance(0.5):
        deep = kit.size(4, float(ends[-1]) - 4)
        kit.less(
            kit.bore(
                (float(ends[-1]), 0, 0), (1, 0, 0), kit.size(1.5, least - 1.8), deep, through=False
            )
        )
    i = int(kit.rng.integers(count))
    middle, radius = float(ends[i] + ends[i + 1]) / 2, radii[i]
    extra = str(kit.rng.choice(["none", "cross", "keyway"]))
    if extra == "cross":
        hole = min(kit.size(1.5, 3.0), lengths[i] / 2 - 1.5, radius * 0.6)
        kit.bore((middle, radius, 0), (0, 1, 0), round(hole, 3), 2 * radius, through=True)
        kit.less(None)
    elif extra == "keyway":
        wide, long = kit.size(1.2, 0.35 * radius), lengths[i] / 2 - 1.5
        edge = float(np.sqrt((0.96 * radius) ** 2 - wide**2))
        floor = round(max(edge - kit.size(0.8, 0.15 * radius + 0.8), least - 1.2), 3)
        kit.body.cut(box((middle - long, -wide, floor), (middle + long, wide, radius + OVER_MM)))
        kit.less(None)


def bracket(kit: Kit) -> None:
    """L- or U-bracket with fillets, bosses on its floor and bores in its walls.

    Parameters
    ----------
    kit
        What it is made with.
    """
    two = kit.chance(0.5)
    long, wide, high = kit.size(45, 70), kit.size(22, 40), kit.size(26, 45)
    floor, wall = kit.size(4, 8), kit.size(4, 8)
    far = kit.size(4, 8) if two else 0.0
    top = kit.size(1.0, 2.5) if kit.chance(0.4) else 0.0
    steps = int(kit.rng.choice([1, 4, 6, 8, 12]))
    corners = [(0.0, 0.0), (high, 0.0), (high, long), (0.0, long)]
    outline, edges = rounded(ALONG_Y, corners, [0, top, top if two else 0, 0], steps)
    kit.body.add(prism(ALONG_Y, outline, edges, 0.0, wide))
    end = long - far if two else long + OVER_MM
    bend = kit.size(1.5, 3) if kit.chance(0.6) else 0.0
    roof = high + OVER_MM
    hole = [(floor, wall), (roof, wall), (roof, end), (floor, end)]
    cut = kit.cut_along_y(hole, [bend, 0, 0, bend if two else 0], steps, -OVER_MM, wide + OVER_MM)
    beyond = OVER_MM * (end - wall) + (0.0 if two else OVER_MM * (high - floor))
    kit.body.volume_mm3 = (area_of(outline) - cut + beyond) * wide
    level = kit.size(floor + 13, high - 6) if high - 6 > floor + 13 else high - 6
    most = min(4.5, high - level - 3.5)
    radius, across = kit.size(1.5, most), kit.size(8, wide - 8)
    bevel = kit.size(0.4, 0.9) if kit.chance(0.3) else 0.0
    left = (0.0, across, level)
    if two and kit.chance(0.4):
        facets = kit.facets(radius)
        volume = kit.bore(left, (-1, 0, 0), radius, long, through=True, bevel=bevel, facets=facets)
        kit.less(volume - share(facets) * radius**2 * (end - wall))
    else:
        kit.less(kit.bore(left, (-1, 0, 0), radius, wall, through=True, bevel=bevel))
        if two:
            right = (long, across, level)
            kit.less(kit.bore(right, (1, 0, 0), kit.size(1.5, most), far, through=True))
    middle = round((wall + (end if two else long)) / 2, 3)
    boss = kit.size(4, 6.5)
    height = kit.size(2, 6)
    at = (middle, round(wide / 2 + kit.size(-2, 2), 3))
    kit.boss(at, boss, floor, height)
    if kit.chance(0.7):
        kit.less(
            kit.bore(
                (*at, floor + height),
                (0, 0, 1),
                kit.size(1.5, boss - 1.5),
                floor + height,
                through=True,
            )
        )


def pillow(kit: Kit) -> None:
    """Pillow block: a half-round body with a bore, on a base with two bores.

    Parameters
    ----------
    kit
        What it is made with.
    """
    half, thick = kit.size(10, 16), kit.size(6, 10)
    wide, long = kit.size(24, 36), half + kit.size(14, 20)
    corners = [(-long, 0.0), (long, 0.0), (long, wide), (-long, wide)]
    bend = kit.size(1.5, 4) if kit.chance(0.6) else 0.0
    outline, edges = rounded(UPRIGHT, corners, [bend] * 4, int(kit.rng.choice([1, 5, 9])))
    kit.body.add(prism(UPRIGHT, outline, edges, 0.0, thick))
    near, far = kit.size(2, 4), round(wide - kit.size(2, 4), 3)
    centre = round(thick + kit.size(half, half + 10), 3)
    front = kit.arch(half, thick - 2, centre, near, far)
    kit.body.volume_mm3 = area_of(outline) * thick + (front - 4 * half) * (far - near)
    radius = kit.size(4, half - 3)
    deep = round(far - near, 3)
    if kit.chance(0.4):
        wider = kit.size(radius + 0.8, half - 1.5)
        step = kit.size(2, deep / 2)
        kit.less(kit.bore((0, near, centre), (0, -1, 0), wider, step, through=False))
        kit.less(kit.bore((0, near + step, centre), (0, -1, 0), radius, deep - step, through=True))
    else:
        bevel = kit.size(0.4, 1.0) if kit.chance(0.4) else 0.0
        kit.less(kit.bore((0, near, centre), (0, -1, 0), radius, deep, through=True, bevel=bevel))
    spot = round((half + long) / 2, 3)
    hole = kit.size(1.8, 3.8)
    for x in (-spot, spot):
        kit.less(kit.bore((x, round(wide / 2, 3), thick), (0, 0, 1), hole, thick, through=True))


def pattern(kit: Kit) -> None:
    """Plate with a grid of bores or a circle of bores around a middle one.

    Parameters
    ----------
    kit
        What it is made with.
    """
    thick = kit.size(4, 9)
    hole = kit.size(1.5, 3.5)
    facets = kit.facets(hole)
    bevel = kit.size(0.3, 0.7) if kit.chance(0.3) else 0.0
    style = str(kit.rng.choice(STYLES))
    if kit.chance(0.5):
        columns, rows = int(kit.rng.integers(2, 7)), int(kit.rng.integers(2, 5))
        dx, dy = kit.size(10, 15), kit.size(10, 15)
        x, y = (columns - 1) * dx + kit.size(14, 20), (rows - 1) * dy + kit.size(14, 20)
        kit.plate(round(x, 3), round(y, 3), thick, style)
        spots = [(7 + i * dx, 7 + j * dy) for i in range(columns) for j in range(rows)]
    else:
        ring, count = kit.size(14, 24), int(kit.rng.integers(3, 11))
        side = round(2 * ring + kit.size(14, 20), 3)
        kit.plate(side, side, thick, style)
        turn = kit.phase()
        angles = turn + 2 * np.pi * np.arange(count) / count
        spots = [(side / 2 + ring * np.cos(a), side / 2 + ring * np.sin(a)) for a in angles]
        middle = kit.size(3, ring - 7)
        at = (side / 2, side / 2, thick)
        kit.less(kit.bore(at, (0, 0, 1), middle, thick, through=True))
    for p in spots:
        kit.less(
            kit.bore((*p, thick), (0, 0, 1), hole, thick, through=True, bevel=bevel, facets=facets)
        )


def slanting(kit: Kit) -> None:
    """Block with slanting bores, two of them parallel, and a straight one.

    Parameters
    ----------
    kit
        What it is made with.
    """
    count = int(kit.rng.integers(1, 4))
    x, y, z = 8.0 + 18 * count + kit.size(18, 26), kit.size(40, 55), kit.size(12, 24)
    kit.plate(x, y, z, str(kit.rng.choice(STYLES)))
    lean = float(kit.rng.uniform(0.15, 0.55))
    aside = float(kit.rng.choice([0.0, 0.3]))
    out = np.array([np.sin(lean), np.sin(lean) * aside, np.cos(lean)])
    out /= np.linalg.norm(out)
    volume = kit.body.volume_mm3
    for i in range(count):
        radius = kit.size(1.8, 4.5)
        facets = kit.facets(radius)
        middle = np.array([26 + 18.0 * i + kit.size(-1, 1), y / 2 + kit.size(-4, 4), z / 2])
        reach = z / out[2] / 2 + radius * np.tan(np.arccos(out[2])) + 1.5
        spin = frame_along(out.tolist(), middle.tolist())
        profile = [(-reach, radius), (reach, radius)]
        kit.body.cut(turned(spin, profile, facets, kit.phase()))
        if volume is not None:
            volume -= share(facets) * radius**2 * z / float(out[2])
    kit.body.volume_mm3 = volume
    at = (kit.size(5.5, 6.5), kit.size(6.5, y - 6.5), z)
    kit.less(kit.bore(at, (0, 0, 1), kit.size(1.5, 2.5), z, through=True))


def crossing(kit: Kit) -> None:
    """Block with bores along X, Y and Z that meet.

    Parameters
    ----------
    kit
        What it is made with.
    """
    x, y, z = kit.size(36, 60), kit.size(36, 60), kit.size(30, 45)
    kit.plate(x, y, z, str(kit.rng.choice(STYLES)))
    cx, cy, cz = (round(v / 2 + kit.size(-3, 3), 3) for v in (x, y, z))
    kit.bore((x, cy, cz), (1, 0, 0), kit.size(3.5, min(9, cy - 10)), x, through=True)
    off = 0.0 if kit.chance(0.4) else kit.size(0.6, 2.5)
    second = kit.size(2.5, min(8, cx - 10.5))
    kit.bore((cx, y, cz + off), (0, 1, 0), second, y, through=True)
    if kit.chance(0.6):
        kit.bore((cx, cy, z), (0, 0, 1), kit.size(2, 6), z - cz, through=False)
    kit.bore(
        (6.5, 6.0, z),
        (0, 0, 1),
        kit.size(1.5, 2.8),
        kit.size(4, 12),
        through=False,
        bevel=kit.size(0.4, 1.0),
    )
    kit.body.volume_mm3 = None


def blends(kit: Kit) -> None:
    """Plate with rounded edges, bosses with fillets and pockets with rounded corners.

    Parameters
    ----------
    kit
        What it is made with.
    """
    x, y, z = kit.size(60, 85), kit.size(30, 40), kit.size(8, 14)
    kit.plate(x, y, z, str(kit.rng.choice(STYLES[1:])))
    for i in range(2):
        at = (round(14 + 22.0 * i + kit.size(-1, 1), 3), round(y / 2 + kit.size(-2, 2), 3))
        if kit.chance(0.5):
            kit.boss(at, kit.size(4, 8), z, kit.size(3, 10))
        else:
            a, b = kit.size(4, 8), kit.size(4, 9)
            kit.pocket((at[0] - a, at[1] - b), (at[0] + a, at[1] + b), z, kit.size(2, z - 2.5))
    at = (x - 9, round(y / 2, 3))
    kit.less(
        kit.bore((*at, z), (0, 0, 1), kit.size(2, 4.5), z, through=True, bevel=kit.size(0.5, 1.5))
    )


def tube(kit: Kit) -> None:
    """Tube with a flange, a stepped bore and a circle of bores in the flange.

    Parameters
    ----------
    kit
        What it is made with.
    """
    radius, high = kit.size(8, 18), kit.size(20, 50)
    facets, up = kit.facets(radius), (0, 0, 1)
    volume = share(facets) * radius**2 * high
    kit.body.add(turned(UPRIGHT, [(0.0, radius), (high, radius)], facets, kit.phase()))
    if kit.chance(0.7):
        wide = round(radius + kit.size(9, 14), 3)
        low, thick = kit.size(1.5, high - 10), kit.size(3, 7)
        count = kit.facets(wide)
        flange = [(low, wide), (low + thick, wide)]
        kit.body.add(turned(UPRIGHT, flange, count, kit.phase()))
        volume += (share(count) * wide**2 - share(facets) * radius**2) * thick
        kit.body.volume_mm3 = volume
        hole, bolts = kit.size(1.5, 2.8), int(kit.rng.integers(2, 7))
        turn, ring = kit.phase(), (radius + wide) / 2
        drill = kit.facets(hole)
        for k in range(bolts):
            a = turn + 2 * np.pi * k / bolts
            mouth = (ring * np.cos(a), ring * np.sin(a), low + thick)
            kit.less(kit.bore(mouth, up, hole, thick, through=True, facets=drill))
    kit.body.volume_mm3 = kit.body.volume_mm3 or volume
    inner = kit.size(2.5, radius - 2)
    if kit.chance(0.5) and radius - inner > 2.6:
        wider, deep = kit.size(inner + 0.8, radius - 1.5), kit.size(3, high - 5)
        kit.less(kit.bore((0, 0, high), up, wider, deep, through=False))
        kit.less(kit.bore((0, 0, high - deep), up, inner, high - deep, through=True))
    else:
        kit.less(kit.bore((0, 0, high), up, inner, high, through=True))


FAMILIES: dict[str, Callable[[Kit], None]] = {
    "plate": plate,
    "shaft": shaft,
    "bracket": bracket,
    "pillow": pillow,
    "pattern": pattern,
    "slanting": slanting,
    "crossing": crossing,
    "blends": blends,
    "tube": tube,
}
