"""Lattices and nets of struts: each is one place."""

from __future__ import annotations

import itertools
import math

import numpy as np

from .part import SINGLE_BEAD_PIN, FloatArray
from .setting import Draft, Setting
from .solids import Solid, block, finished, joined, polygon, rod
from .wires import points_along


def net(setting: Setting) -> Draft:
    """Flat net of crossing wires, free or in a frame."""
    setting.tumble()
    ball = setting.wall(1.6)
    rows, columns = setting.whole(2, 4), setting.whole(2, 5)
    pitch = max(setting.between(4, 6) * ball, ball + 4 * setting.bead)
    nodes = np.array([(x, y, 0) for x in range(columns) for y in range(rows)], dtype=float) * pitch
    # Without a wire across, the wires between two frames are no net.
    framed = columns > 2 and setting.chance(0.4)
    if framed:
        nodes = nodes * (pitch + 5.0) / pitch
        pitch += 5.0
    spans = [(a, b) for a, b in itertools.combinations(range(len(nodes)), 2)
             if abs(np.linalg.norm(nodes[a] - nodes[b]) - pitch) < 1e-6]  # fmt: skip
    extra: list[Solid] = []
    if framed:
        size = (5.0, (rows - 1) * pitch + 6, 5.0 + ball)
        middle = (rows - 1) * pitch / 2
        extra = [block(size, (x, middle, 0)) for x in (-1.0, (columns - 1) * pitch + 1.0)]
        inside = [nodes[a][0] != nodes[b][0] for a, b in spans]
        spans = [span for span, keep in zip(spans, inside, strict=True) if keep or _inner(
            nodes, span, (columns - 1) * pitch)]  # fmt: skip
    name = f"{'framed' if framed else 'free'} net of {rows} x {columns}"
    return _woven(setting, ball, nodes, spans, extra, name, 2.0 if framed else 0.0)


def lattice(setting: Setting) -> Draft:
    """Lattice of struts in space: along the axes, along the diagonals, or both."""
    setting.tumble()
    ball = setting.wall(1.6)
    cells = setting.whole(1, 2)
    scheme = setting.one_of(("cubic", "body-centred"))
    pitch = max(setting.between(5, 7) * ball, ball + 5 * setting.bead)
    corners = np.array(list(itertools.product(range(cells + 1), repeat=3)), dtype=float)
    nodes = corners * pitch
    length = pitch
    if scheme == "body-centred":
        centres = np.array(list(itertools.product(range(cells), repeat=3)), dtype=float) + 0.5
        nodes = np.vstack((corners, centres)) * pitch * 1.3
        length = pitch * 1.3 * math.sqrt(3) / 2
    spans = [(a, b) for a, b in itertools.combinations(range(len(nodes)), 2)
             if abs(np.linalg.norm(nodes[a] - nodes[b]) - length) < 1e-6]  # fmt: skip
    return _woven(setting, ball, nodes, spans, [], f"{scheme} lattice of {cells} cells a side")


def _inner(nodes: FloatArray, span: tuple[int, int], right: float) -> bool:
    return 1e-6 < float(nodes[span[0]][0]) < right - 1e-6


def _woven(
    setting: Setting, ball: float, nodes: FloatArray, spans: list[tuple[int, int]],
    extra: list[Solid], name: str, inside: float = 0.0,
) -> Draft:  # fmt: skip
    """Join struts at their nodes; nodes are balls a little thicker than the struts."""
    square = setting.chance(0.25) and not extra
    sides = 4 if square else setting.sides((8, 10), (16, 24))
    outline = polygon(sides, ball)
    bodies: list[Solid] = list(extra)
    at: list[FloatArray] = []
    clear = 1.3 * ball
    for first, last in spans:  # over struts
        bodies.append(rod(outline, nodes[first], nodes[last]))
        ends = nodes[[first, last]]
        at.append(points_along(ends[0], ends[1], clear + inside * (abs(ends[0] - ends[1])[0] > 0)))
    used = sorted({node for span in spans for node in span})
    corner = 1 / math.cos(math.pi / sides)
    knot = Solid.sphere(ball / 2 * 1.12 * corner, 12 if not setting.fine else 24)
    bodies += [knot.translate(tuple(nodes[node])) for node in used]
    mesh = finished(joined(*bodies), setting.between(0.5, 0.9) if setting.fine else None)
    lengths = sum(float(np.linalg.norm(nodes[a] - nodes[b])) - 1.5 * ball for a, b in spans)
    lengths -= inside * sum(float(abs(nodes[a] - nodes[b])[0]) > 0 for a, b in spans)
    area = 0.85 * math.pi * ball * lengths
    places = setting.wire_place(ball, np.vstack(at), area)
    # Where struts meet, the ball is larger than in any of them.
    node = ball * 1.6
    allowed: tuple[str, ...] = ()
    if places and ball < setting.bead < node:
        allowed = (SINGLE_BEAD_PIN,)
    if setting.sound:
        allowed = ()
    return setting.draft(mesh, places, allowed, f"{name}, struts of {ball:.2f}")
