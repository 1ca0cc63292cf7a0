"""Raised and engraved letters."""

from __future__ import annotations

import math

import numpy as np
import shapely
import shapely.affinity

from .part import KNIFE_EDGE, SINGLE_BEAD, Expected, FloatArray
from .setting import Draft, Setting
from .solids import Solid, block, finished, joined, prism

#: Strokes of each letter on a field one wide and one high (or as wide as they need).
STROKES: dict[str, list[list[tuple[float, float]]]] = {
    "I": [[(0, 0), (0, 1)]],
    "L": [[(0, 1), (0, 0), (0.6, 0)]],
    "T": [[(0, 1), (0.8, 1)], [(0.4, 1), (0.4, 0)]],
    "H": [[(0, 0), (0, 1)], [(0.7, 0), (0.7, 1)], [(0, 0.5), (0.7, 0.5)]],
    "E": [[(0.6, 1), (0, 1), (0, 0), (0.6, 0)], [(0, 0.5), (0.5, 0.5)]],
    "F": [[(0.6, 1), (0, 1), (0, 0)], [(0, 0.5), (0.5, 0.5)]],
    "U": [[(0, 1), (0, 0), (0.7, 0), (0.7, 1)]],
    "Z": [[(0, 1), (0.8, 1), (0, 0), (0.8, 0)]],
    "V": [[(0, 1), (0.55, 0), (1.1, 1)]],
    "X": [[(0, 0), (0.9, 1)], [(0, 1), (0.9, 0)]],
}


def _circle() -> list[tuple[float, float]]:
    angles = np.linspace(0, 2 * math.pi, 33)
    ring = 0.5 + 0.5 * np.column_stack((np.cos(angles), np.sin(angles)))
    return [(float(x), float(y)) for x, y in ring]


def letter(name: str, high: float, stroke: float) -> shapely.Polygon:
    """Outline of a letter with strokes of this width, its middle lines ``high`` high."""
    lines = [shapely.LineString(np.array(line) * high) for line in STROKES.get(name, [_circle()])]
    if name == "O":
        ring = shapely.Polygon(np.array(_circle())[:-1] * high)
        outer = ring.buffer(stroke / 2, join_style="mitre")
        return outer.difference(ring.buffer(-stroke / 2, join_style="mitre"))
    return shapely.unary_union(
        [line.buffer(stroke / 2, cap_style="square", join_style="mitre", mitre_limit=1.6)
         for line in lines]
    )  # fmt: skip


def stroke_points(name: str, high: float, stroke: float) -> FloatArray:
    """Points on the middle lines, clear of where strokes meet or end."""
    lines = [np.array(line) * high for line in STROKES.get(name, [_circle()])]
    starts = np.vstack([line[:-1] for line in lines])
    ends = np.vstack([line[1:] for line in lines])
    shares = np.linspace(0.1, 0.9, 9)[:, None, None] if name != "O" else np.array([[[0.5]]])
    points = (starts + (ends - starts) * shares).reshape(-1, 2)
    if name == "O":
        return points
    corners = np.vstack((starts, ends))
    clear = np.linalg.norm(points[:, None] - corners[None], axis=2).min(axis=1) > 1.2 * stroke
    # Of crossing strokes, keep away from where they cross.
    near = np.zeros(len(points))
    for line in lines:  # over strokes
        near += shapely.distance(shapely.points(points), shapely.LineString(line)) < 1.2 * stroke
    return np.asarray(points[clear & (near == 1)], dtype=np.float64)


def raised_text(setting: Setting) -> Draft:
    """Letters that stand out of a plate."""
    setting.stand_or_lean(50)
    stroke = setting.wall()
    rise = 0.6 if setting.sound and setting.chance(0.6) else 1.6 * stroke + setting.between(0.3, 2)
    high = max(setting.between(5, 9), 6 * stroke)
    names = [setting.one_of((*STROKES, "O")) for _ in range(setting.whole(1, 4))]
    bodies: list[Solid] = []
    expected: list[Expected] = []
    left = 0.0
    for name in names:  # over letters
        outline = shapely.affinity.translate(letter(name, high, stroke), left)
        bodies.append(prism(outline, -0.5, rise))
        flat = stroke_points(name, high, stroke)
        steps = np.array([0.3, 0.5]) * (rise - stroke / 2)
        at = np.vstack([np.column_stack((flat + (left, 0), np.full(len(flat), z))) for z in steps])
        area = 0.5 * outline.length * (rise - 0.7 * stroke)
        expected += setting.wall_place(stroke, at, area, 0.003 * stroke)
        left += float(outline.bounds[2] - outline.bounds[0]) + stroke + 3 * setting.bead + 1.0
    bodies.append(block((left + 4 + stroke, high + stroke + 6, 4), (left / 2 - 1, high / 2, -2)))
    mesh = finished(joined(*bodies), setting.between(0.5, 0.9) if setting.fine else None)
    # Where strokes meet, the ball is larger; corners of slanted strokes may be sharp.
    allowed: tuple[str, ...] = (SINGLE_BEAD, KNIFE_EDGE) if expected else ()
    if expected and stroke > setting.bead:
        allowed = (KNIFE_EDGE,)
    return setting.draft(
        mesh, expected, allowed, f"raised text {''.join(names)}, strokes {stroke:.2f}"
    )


def engraved_text(setting: Setting) -> Draft:
    """Letters cut 0.6 mm deep into a plate; what stands between their strokes is sound."""
    setting.tumble()
    room = 2.3 * setting.bead
    stroke = setting.between(0.4, 2.0) * setting.bead
    high = max(setting.between(5, 9), 2.2 * (stroke + room))
    names = [setting.one_of(("I", "L", "T", "H", "E", "F", "U", "Z", "O")) for _ in range(3)]
    cuts: list[Solid] = []
    left = 0.0
    deep = setting.between(0.3, 0.8)
    for name in names:  # over letters
        scaled = high * (2.0 if name in "HUO" else 1.0)
        outline = shapely.affinity.translate(letter(name, scaled, stroke), left)
        cuts.append(prism(outline, -deep, 1.0))
        left += float(outline.bounds[2] - outline.bounds[0]) + room + stroke
    plate = block((left + 6, 2 * high + 8, 4.0), (left / 2 - 1, high, -2))
    mesh = finished(plate - joined(*cuts), setting.between(0.6, 1.0) if setting.fine else None)
    return setting.draft(mesh, (), (), f"engraved text {''.join(names)}, {deep:.1f} deep")
