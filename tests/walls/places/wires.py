"""Wires, pins, struts, rings and springs, at any lean."""

from __future__ import annotations

import math

import numpy as np

from .part import (
    KNIFE_EDGE,
    SINGLE_BEAD,
    SINGLE_BEAD_PIN,
    THIN_PIN,
    THIN_WALL,
    Expected,
    FloatArray,
)
from .setting import Draft, Setting, rotation
from .solids import (
    Solid,
    block,
    finished,
    joined,
    moved,
    polygon,
    prism,
    rod,
    solid_of,
    turned,
    wire,
)

PIN_KINDS = (THIN_PIN, SINGLE_BEAD_PIN)


def section(setting: Setting, ball: float) -> tuple[FloatArray, float]:
    """Outline of a wire that a circle of this diameter just fits into, and its perimeter."""
    shape = setting.one_of(("round", "round", "square", "hexagonal", "oblong"))
    if shape == "oblong":
        width = ball * setting.between(1.15, 1.7)
        half = np.array([width, ball]) / 2
        outline = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        return outline, 2 * (width + ball)
    if shape == "square":
        return polygon(4, ball), 4 * ball
    sides = 6 if shape == "hexagonal" else setting.sides((8, 14), (24, 48))
    return polygon(sides, ball), 2 * sides * ball / 2 * math.tan(math.pi / sides) * 2 / 2


def points_along(start: FloatArray, end: FloatArray, clear: float) -> FloatArray:
    """Points between two ends, at least ``clear`` away from both."""
    way = np.asarray(end, dtype=np.float64) - start
    length = float(np.linalg.norm(way))
    steps = np.linspace(clear, length - clear, max(3, int(length / 1.5)))
    return np.asarray(start + way[None] * steps[:, None] / length, dtype=np.float64)


def straight_wire(setting: Setting) -> Draft:
    """One wire by itself, at any lean including level."""
    if setting.chance(0.3):
        level = rotation(np.array([1.0, 0.0, 0.0]), 90.0)
        setting.turn = rotation(np.array([0.0, 0.0, 1.0]), setting.between(0, 360)) @ level
    else:
        setting.tumble()
    ball = setting.wall()
    outline, around = section(setting, ball)
    length = max(setting.between(8, 40), 5 * ball)
    mesh = finished(prism(outline, 0, length), setting.between(0.3, 0.6) if setting.fine else None)
    at = points_along(np.zeros(3), np.array([0, 0, length]), ball)
    places = setting.wire_place(ball, at, 0.85 * around * (length - 2 * ball))
    return setting.draft(mesh, places, (), f"wire of {ball:.2f}, {len(outline)} sides")


def _pin(
    setting: Setting, ball: float, height: float, outline: FloatArray, deep: float = 1.0
) -> tuple[Solid, str, float]:
    """Pin along Z from ``-deep``, with a flat, pointed or round end; its end's height last."""
    shaft = prism(outline, -deep, height)
    end = setting.one_of(("flat", "flat", "pointed", "round"))
    if end == "flat" or len(outline) < 8:
        return shaft, "flat", 0.0
    sides = len(outline)
    if end == "pointed":
        rise = ball / 2 / math.tan(math.radians(setting.between(46, 90)) / 2)
        peak = np.array([[0, -0.5], [ball / 2, -0.5], [ball / 2, 0], [0, rise]])
    else:
        rise = ball / 2
        flats = setting.whole(6, 12) if setting.fine else 4
        angles = (np.arange(flats) + 0.5) * math.pi / 2 / flats
        curve = rise * np.column_stack((np.cos(angles), np.sin(angles)))
        curve /= math.cos(math.pi / 4 / flats)
        peak = np.vstack(([0, -0.5], [rise, -0.5], curve, [0, rise]))
    grown = peak * (1 / math.cos(math.pi / sides), 1.0)
    half = math.pi / sides
    cap = turned(grown, sides).rotate((0.0, 0.0, math.degrees(half)))
    return joined(shaft, cap.translate((0.0, 0.0, height))), end, rise


def pins_on_block(setting: Setting) -> Draft:
    """Pins of one or several sizes on a block, upright or leaning."""
    setting.tumble() if setting.chance(0.5) else setting.stand()
    count = setting.whole(1, 6)
    lean = setting.between(0, 50) if setting.chance(0.4) else 0.0
    ball, same = setting.wall(), setting.chance(0.6)
    pitch = 8.0 + 8 * setting.bead
    base: list[Solid] = []
    expected: list[Expected] = []
    names = set()
    for index in range(count):  # over pins
        if not same:
            ball = setting.wall()
        height = max(setting.between(3, 12), 3.2 * ball)
        outline, around = section(setting, ball)
        low = 0.5 * ball * (1 + 2 * math.tan(math.radians(lean)))
        pin, end, _ = _pin(setting, ball, height + low, outline, deep=1.0 + low)
        names.add(end)
        turn = rotation(np.array([0.0, 0.0, 1.0]), setting.between(0, 360)) @ rotation(
            np.array([1.0, 0.0, 0.0]), lean
        )
        foot = np.array([(index % 3) * pitch, (index // 3) * pitch, 0.0])
        base.append(moved(pin, turn, foot))
        at = points_along(np.array([0, 0, low]), np.array([0, 0, height + low]), 0.55 * ball)
        area = 0.8 * around * (height - ball)
        expected += setting.wire_place(ball, at @ turn.T + foot, area)
    base.append(block((2 * pitch + 12, pitch + 12, 8), (pitch, pitch / 2, -4)))
    mesh = finished(joined(*base), setting.between(0.5, 0.9) if setting.fine else None)
    allowed = (KNIFE_EDGE,) if "pointed" in names and not setting.sound else ()
    return setting.draft(
        mesh,
        expected,
        allowed,
        f"{count} pins of {ball:.2f} or so, ends {', '.join(sorted(names))}",
    )


def struts(setting: Setting) -> Draft:
    """Two blocks held apart by struts that do not touch each other."""
    setting.tumble()
    count = setting.whole(1, 5)
    ball = setting.wall()
    outline, around = section(setting, ball)
    gap = max(setting.between(6, 20), 4 * ball)
    pitch = 3 * ball + 4 * setting.bead
    wide = (count - 1) * pitch + 8 + ball
    slope = setting.between(-0.7, 0.7)
    middle = (count - 1) * pitch / 2
    bodies = [
        block((wide, 10 + ball, 6), (middle, 0, -3)),
        block((wide, 10 + ball, 6), (middle + slope * gap, 0, gap + 3)),
    ]
    expected: list[Expected] = []
    way = np.array([slope, 0.0, 1.0])
    clear = (0.55 + abs(slope)) * ball
    for index in range(count):  # over struts
        foot = np.array([index * pitch, 0.0, 0.0])
        deep = 0.5 + abs(slope) * ball
        bodies.append(rod(outline, foot - way * deep, foot + way * (gap + deep)))
        at = points_along(foot, foot + way * gap, clear)
        area = 0.8 * around * (gap * math.hypot(1, slope) - 2 * clear)
        expected += setting.wire_place(ball, at, area)
    mesh = finished(joined(*bodies), setting.between(0.5, 0.9) if setting.fine else None)
    return setting.draft(mesh, expected, (), f"{count} struts of {ball:.2f} between two blocks")


def ring(setting: Setting) -> Draft:
    """Wire bent to a ring."""
    setting.tumble()
    ball = setting.wall()
    sides = 2 * setting.whole(3, 6) if not setting.fine else 2 * setting.whole(8, 16)
    outline = polygon(sides, ball)
    segments = setting.whole(24, 48) if not setting.fine else setting.whole(80, 160)
    radius = max(setting.between(5, 18), 2.5 * ball)
    angles = np.arange(segments) * 2 * math.pi / segments
    path = radius * np.column_stack((np.cos(angles), np.sin(angles), 0 * angles))
    mesh = wire(path, outline, closed=True)
    # The sections stand at the corners of the ring: between them the wire is thinner across.
    shrink = math.cos(math.pi / segments)
    middles = (path + np.roll(path, -1, axis=0)) / 2
    area = 0.85 * math.pi * ball * 2 * math.pi * radius * shrink
    places = setting.wire_place(ball * shrink, middles, area, ball * (1 - shrink))
    return setting.draft(mesh, places, (), f"ring of {ball:.2f}, {segments} segments")


def spring(setting: Setting) -> Draft:
    """Helical spring, by itself or with its ends in two blocks."""
    setting.tumble()
    ball = setting.wall(1.7)
    sides = 2 * setting.whole(3, 5) if not setting.fine else 2 * setting.whole(6, 10)
    radius = max(setting.between(4, 9), 2.2 * ball)
    pitch = 2 * ball + 2 * setting.bead + setting.between(0, 3)
    turns = setting.between(1.5, 4.0)
    per_turn = setting.whole(24, 40) if not setting.fine else setting.whole(64, 90)
    angles = np.linspace(0, 2 * math.pi * turns, int(turns * per_turn))
    path = np.column_stack(
        (radius * np.cos(angles), radius * np.sin(angles), pitch * angles / (2 * math.pi))
    )
    mesh = wire(path, polygon(sides, ball), closed=False)
    step = angles[1]
    # Two sections are a step apart and twisted: their skew flats cut in by about this share.
    share = (1 - math.cos(step / 2)) * 2.0
    middles = (path[:-1] + path[1:]) / 2
    length = turns * math.hypot(2 * math.pi * radius, pitch)
    if setting.chance(0.4):
        high = pitch * turns
        ends = [path[0], path[-1]]
        size = (ball + 3, ball + 3, ball + 3)
        bodies = [block(size, tuple(end)) for end in ends]
        mesh = finished(joined(solid_of(mesh), *bodies))
        clear = np.linalg.norm(middles[:, None] - np.array(ends), axis=2).min(axis=1)
        middles = middles[clear > 0.9 * (ball + 3) + ball]
        length -= 4 * (ball + 3)
        if high < 2 * (ball + 3) + 2:
            return spring(setting)
    else:
        from_end = np.minimum(angles[:-1], angles[-1] - angles[1:]) * radius
        middles = middles[from_end > ball]
    area = 0.8 * math.pi * ball * length
    places = setting.wire_place(ball, middles, area, ball * share)
    return setting.draft(mesh, places, (), f"spring of {ball:.2f}, {turns:.1f} turns")


def strip(setting: Setting) -> Draft:
    """Bar two to three times as wide as thick: a pin or a wall, both names are right."""
    setting.lean(50)
    ball = setting.wall()
    width = ball * setting.between(2.1, 2.9)
    length = max(setting.between(10, 30), 4 * width)
    half = np.array([ball, width]) / 2
    outline = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    mesh = finished(prism(outline, 0, length), setting.between(0.4, 0.8) if setting.fine else None)
    if setting.sound:
        return setting.draft(mesh, (), (), f"bar {ball:.2f} by {width:.2f}")
    kinds = (THIN_WALL, THIN_PIN) if ball < setting.bead else (SINGLE_BEAD, SINGLE_BEAD_PIN)
    at = points_along(np.zeros(3), np.array([0, 0, length]), ball)
    area = 0.85 * 2 * (width - ball) * (length - ball)
    place = setting.place(kinds, ball, at, area)
    return setting.draft(mesh, (place,), (), f"strip {ball:.2f} by {width:.2f}")
