"""The layer check beside general-purpose sections and buffers, in one run.

500 layers of a part of about 500 000 facets: a fluted tube whose wall waves along its
height, so that no two layers are alike. The comparison cuts the same heights with
trimesh and opens and closes the same polygons with shapely: only the raw offsets,
none of the corner filter, joining, floors or measuring that the check does besides.
"""

import functools
import time

import numpy as np
import shapely
import trimesh

from shrinkrule.printer import Printer
from shrinkrule.walls.layers.check import layer_findings
from shrinkrule.walls.limits import WallLimits

LAYERS = 500
PRINTER = Printer(0.6, 0.66, 0.3)


def fluted_tube(inside_mm: float, around: int = 500, upward: int = 250) -> trimesh.Trimesh:
    angle = np.arange(around) * 2.0 * np.pi / around
    height = np.linspace(0.0, LAYERS * PRINTER.layer_height_mm, upward)
    turn, level = np.meshgrid(angle, height)
    outer = 20.0 + 0.8 * np.sin(12 * turn + level / 10.0)
    inner = inside_mm + 0.5 * np.sin(level / 7.0)
    rings = [np.stack([r * np.cos(turn), r * np.sin(turn), level], axis=-1) for r in (outer, inner)]
    grid = np.arange(around * upward).reshape(upward, around)
    low, right = grid[:-1], np.roll(grid, -1, axis=1)[:-1]
    high, far = grid[1:], np.roll(grid, -1, axis=1)[1:]
    wall = np.concatenate(
        [
            np.stack([low, right, far], -1).reshape(-1, 3),
            np.stack([low, far, high], -1).reshape(-1, 3),
        ]
    )
    inside = wall[:, ::-1] + grid.size
    caps = []
    for row, flip in ((grid[0], False), (grid[-1], True)):
        out, after = row, np.roll(row, -1)
        ring = np.concatenate(
            [
                np.stack([out, out + grid.size, after + grid.size], -1),
                np.stack([out, after + grid.size, after], -1),
            ]
        )
        caps.append(ring[:, ::-1] if flip else ring)
    points = np.concatenate([ring.reshape(-1, 3) for ring in rings])
    return trimesh.Trimesh(points, np.concatenate([wall, inside, *caps]), process=False)


def with_shapely(mesh: trimesh.Trimesh, printer: Printer, limits: WallLimits) -> float:
    heights = (np.arange(LAYERS) + 0.5) * printer.layer_height_mm
    sections = mesh.section_multiplane([0, 0, 0], [0, 0, 1], heights)
    lost = 0.0
    for section in sections:
        plan = functools.reduce(shapely.symmetric_difference, section.polygons_closed)
        for limit in (limits.exist_mm(printer), limits.sound_mm(printer)):
            opened = plan.buffer(-limit / 2, quad_segs=16).buffer(limit / 2, quad_segs=16)
            lost += plan.difference(opened).area
        gap = limits.gap_mm(printer)
        closed = plan.buffer(gap / 2, quad_segs=16).buffer(-gap / 2, quad_segs=16)
        lost += closed.difference(plan).area
    return lost


def compare(name: str, inside_mm: float) -> None:
    mesh, limits = fluted_tube(inside_mm), WallLimits()
    start, begun = time.perf_counter(), time.process_time()
    report = layer_findings(mesh, PRINTER, limits)
    ours, worked = time.perf_counter() - start, time.process_time() - begun
    print(
        f"{name}, {len(mesh.faces)} facets: {report.layers} layers, "
        f"{len(report.findings)} findings, {ours:.2f} s ({worked:.2f} s of work)"
    )
    start = time.perf_counter()
    with_shapely(mesh, PRINTER, limits)
    theirs = time.perf_counter() - start
    print(
        f"  trimesh sections and shapely buffers: {theirs:.2f} s, {theirs / ours:.1f} times as long"
    )


def main() -> None:
    # What is compiled is compiled once per machine; a user's second part finds it done.
    layer_findings(trimesh.creation.box((5.0, 0.5, 2.0)), PRINTER, WallLimits())
    compare("sound wall", 16.0)
    compare("wall thin in many places", 18.7)


if __name__ == "__main__":
    main()
