"""Sag of plain shapes against triquadratic elements with one-sided contact: error and time.

Run ``python benchmarks/sag_shapes.py [--only TEXT] [--page]``; ``--page`` writes each row, once
it is made, into the table between the marks of docs/theory-sag.md. The reference is that of
benchmarks/sag_reference.py: scikit-fem's bricks of 27 nodes, curved with the shape and refined
towards inner edges and lines of contact, on three meshes; what extrapolating them adds is what the
reference is unsure by. Faces of symmetry carry their half. Where a part rests on a line, points
within a wall of that line are left out of the field's norm: there the strain is without bound.
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
from sag_reference import Reference, Shape, limit

from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.sag import SagSettings, solve_sag
from shrinkrule.sag.preparation import prepare
from shrinkrule.sag.solve import solve_on_two_grids

PAGE: Final = Path(__file__).parent.parent / "docs" / "theory-sag.md"
MARKS: Final = ("<!-- shapes -->\n", "<!-- end of shapes -->")
SPREAD: Final = 1.6  # cells grow away from an inner edge as this power of the way


def graded(*stops: float, cells: tuple[int, ...], inner: tuple[int, ...] = ()) -> Any:
    """Ticks through ``stops`` with ``cells`` between them, finer at the stops ``inner``."""

    def ticks(finer: float) -> Floats:
        parts = [np.array([stops[0]])]
        for k, (low, high) in enumerate(itertools.pairwise(stops)):
            way = np.linspace(0.0, 1.0, max(1, round(cells[k] * finer)) + 1)
            if k in inner and k + 1 in inner:
                bent = np.where(
                    way < 0.5, 0.5 * (2 * way) ** SPREAD, 1 - 0.5 * (2 - 2 * way) ** SPREAD
                )
            elif k in inner:
                bent = way**SPREAD
            elif k + 1 in inner:
                bent = 1.0 - (1.0 - way) ** SPREAD
            else:
                bent = way
            parts.append((low + (high - low) * bent)[1:])
        return np.concatenate(parts)

    return ticks


def tensor(x: Any, y: Any, z: Any) -> Callable[[float], tuple[Floats, Floats, Floats]]:
    return lambda finer: (x(finer), y(finer), z(finer))


def _same(p: Floats) -> Floats:
    return p


def arch() -> Shape:
    """Circular opening of radius 20, elliptic back of 27 by 23, 10 deep: wall from 3 to 7."""

    def place(p: Floats) -> Floats:
        across, turn, deep = p
        inner = 20.0 * np.array([np.cos(turn), np.sin(turn)])
        outer = np.array([27.0 * np.cos(turn), 23.0 * np.sin(turn)])
        x, z = inner + across * (outer - inner)
        return np.array([x, deep, z])

    ticks = tensor(
        graded(0, 1, cells=(5,), inner=(0,)),
        graded(0, 0.3, np.pi / 2, cells=(8, 14), inner=(0,)),
        graded(0, 5, cells=(3,)),
    )
    return Shape(ticks, place, 400.0, 3.0, mirrored=(0, 1))


def tube() -> Shape:
    """A tube on its side: radius 12, wall 1, length 40."""

    def place(p: Floats) -> Floats:
        radius, turn, deep = p
        return np.array([radius * np.sin(turn), deep, 12.0 - radius * np.cos(turn)])

    ticks = tensor(
        graded(11, 12, cells=(2,)),
        graded(0, 0.3, np.pi, cells=(6, 16), inner=(0,)),
        graded(0, 20, cells=(6,), inner=(1,)),
    )
    return Shape(
        ticks, place, 15000.0, 1.0, mirrored=(0, 1), line=lambda p: np.hypot(p[:, 0], p[:, 2]) < 1.0
    )


def tilted_plate() -> Shape:
    """A plate 2 thick, 40 by 30, tilted by 25 and 20 degrees, on three upright feet."""
    a, b = np.tan(np.radians(25.0)), np.tan(np.radians(20.0))
    thick = 2.0 * np.sqrt(1.0 + a * a + b * b)

    def place(p: Floats) -> Floats:
        x, y, level = p
        under = 12.0 + a * (x - 20.0) + b * (y - 15.0) + 10.0
        return np.array(
            [x, y, np.where(level <= 1.0, level * under, under + (level - 1.0) * thick)]
        )

    def inside(c: Floats) -> Mask:
        x, y, level = c
        low = (y > 2) & (y < 6) & (((x > 2) & (x < 6)) | ((x > 34) & (x < 38)))
        high = (y > 24) & (y < 28) & (x > 18) & (x < 22)
        solid: Mask = (level > 1.0) | low | high
        return solid

    stops_x = graded(
        *(0, 2, 6, 18, 22, 34, 38, 40), cells=(2, 2, 4, 2, 4, 2, 2), inner=(1, 2, 3, 4, 5, 6)
    )
    stops_y = graded(0, 2, 6, 24, 28, 30, cells=(2, 2, 6, 2, 2), inner=(1, 2, 3, 4))
    stops_z = graded(0, 1, 2, cells=(4, 2), inner=(0, 1))
    return Shape(tensor(stops_x, stops_y, stops_z), place, 3000.0, 2.0, inside)


def frame() -> Shape:
    """A portal: posts 4 wide, a span of 40 and 3 deep, 8 across."""

    def inside(c: Floats) -> Mask:
        solid: Mask = (c[0] > 20.0) | (c[2] > 17.0)
        return solid

    stops = (
        graded(0, 20, 24, cells=(12, 4), inner=(1,)),
        graded(0, 4, cells=(2,)),
        graded(0, 17, 20, cells=(8, 4), inner=(0, 1)),
    )
    return Shape(tensor(*stops), _same, 3000.0, 3.0, inside, mirrored=(0, 1))


def bracket() -> Shape:
    """An angle on a long foot: post 4 thick and 20 high, arm 3 thick that reaches out 20."""

    def inside(c: Floats) -> Mask:
        solid: Mask = (c[2] < 4.0) | ((c[0] < 4.0) & (c[2] < 24.0)) | (c[2] > 21.0)
        return solid

    stops = (
        graded(0, 4, 24, cells=(4, 10), inner=(1,)),
        graded(0, 5, cells=(2,)),
        graded(0, 4, 21, 24, cells=(4, 8, 4), inner=(1, 2)),
    )
    return Shape(tensor(*stops), _same, 2000.0, 3.0, inside, mirrored=(1,))


def posts() -> Shape:
    """A plate 2 thick, 44 by 32, on four posts 6 by 5."""

    def inside(c: Floats) -> Mask:
        solid: Mask = (c[2] > 10.0) | ((c[0] > 14.0) & (c[0] < 20.0) & (c[1] > 9.0) & (c[1] < 14.0))
        return solid

    stops = (
        graded(0, 14, 20, 22, cells=(6, 4, 2), inner=(1, 2)),
        graded(0, 9, 14, 16, cells=(4, 4, 2), inner=(1, 2)),
        graded(0, 10, 12, cells=(6, 2), inner=(0, 1)),
    )
    return Shape(tensor(*stops), _same, 2000.0, 2.0, inside, mirrored=(0, 1))


def ring() -> Shape:
    """A ring standing on its rim: radius 15, 2 thick, 8 wide."""

    def place(p: Floats) -> Floats:
        radius, turn, deep = p
        return np.array([radius * np.sin(turn), deep, 15.0 - radius * np.cos(turn)])

    ticks = tensor(
        graded(13, 15, cells=(2,)),
        graded(0, 0.3, np.pi, cells=(6, 14), inner=(0,)),
        graded(0, 4, cells=(2,), inner=(1,)),
    )
    return Shape(
        ticks, place, 8000.0, 2.0, mirrored=(0, 1), line=lambda p: np.hypot(p[:, 0], p[:, 2]) < 2.0
    )


def table() -> Shape:
    """A table: a top 2.5 thick, 40 by 30, on four legs 4 by 4 at its corners, 12 high."""

    def inside(c: Floats) -> Mask:
        solid: Mask = (c[2] > 12.0) | ((c[0] > 16.0) & (c[1] > 11.0))
        return solid

    stops = (
        graded(0, 16, 20, cells=(6, 4), inner=(1,)),
        graded(0, 11, 15, cells=(4, 4), inner=(1,)),
        graded(0, 12, 14.5, cells=(6, 2), inner=(0, 1)),
    )
    return Shape(tensor(*stops), _same, 3000.0, 2.5, inside, mirrored=(0, 1))


def hanging_leg() -> Shape:
    """An angle on a foot 14 long: post 4 thick, arm 3 thick that reaches out 18, and from its end
    a leg 3 thick that hangs down by 8."""

    def inside(c: Floats) -> Mask:
        x, _, z = c
        foot, post = z < 3.0, (x < 4.0) & (z < 20.0)
        arm, leg = (z > 17.0) & (x < 22.0), (x > 19.0) & (x < 22.0) & (z > 9.0)
        solid: Mask = (foot & (x < 14.0)) | post | arm | leg
        return solid

    stops = (
        graded(0, 4, 14, 19, 22, cells=(4, 5, 3, 3), inner=(1, 3)),
        graded(0, 4, cells=(2,)),
        graded(0, 3, 9, 17, 20, cells=(3, 3, 5, 3), inner=(1, 3)),
    )
    return Shape(tensor(*stops), _same, 3000.0, 3.0, inside, mirrored=(1,))


def channel() -> Shape:
    """A U channel on its back with lips outward: 20 wide, 12 high, lips of 7, wall 1.5."""

    def inside(c: Floats) -> Mask:
        x, _, z = c
        back, side = (z < 1.5) & (x < 10.0), (x > 8.5) & (x < 10.0)
        solid: Mask = back | side | ((z > 10.5) & (x > 8.5))
        return solid

    stops = (
        graded(0, 8.5, 10, 17, cells=(5, 3, 6), inner=(1, 2)),
        graded(0, 12, cells=(3,)),
        graded(0, 1.5, 10.5, 12, cells=(3, 6, 3), inner=(1, 2)),
    )
    return Shape(tensor(*stops), _same, 2500.0, 1.5, inside, mirrored=(0, 1))


def box() -> Shape:
    """A hollow box with its lid on: 36 by 28 by 16, wall 2."""

    def inside(c: Floats) -> Mask:
        solid: Mask = (c[0] > 16.0) | (c[1] > 12.0) | (c[2] < 2.0) | (c[2] > 14.0)
        return solid

    stops = (
        graded(0, 16, 18, cells=(5, 2), inner=(1,)),
        graded(0, 12, 14, cells=(4, 2), inner=(1,)),
        graded(0, 2, 14, 16, cells=(2, 5, 2), inner=(1, 2)),
    )
    return Shape(tensor(*stops), _same, 1000.0, 2.0, inside, mirrored=(0, 1))


SHAPES: Final[dict[str, Callable[[], Shape]]] = {
    "portal frame": frame,
    "bracket": bracket,
    "plate on four posts": posts,
    "plate tilted on three feet": tilted_plate,
    "arch": arch,
    "ring on its rim": ring,
    "tube on its side": tube,
    "table on four legs": table,
    "angle with a hanging leg": hanging_leg,
    "channel on its back, with lips": channel,
    "hollow box": box,
}


def compared(shape: Shape, there: Reference, at: Callable[[Floats], Floats]) -> float:
    """Norm of a field's error over the norm of the field, sliding and turning taken out."""
    points = there.places
    kept = np.ones(len(points), dtype=bool) if shape.line is None else ~shape.line(points)
    points, wanted = points[kept], there.displacement[kept]
    missed = at(points) - wanted
    x, y = points[:, 0], points[:, 1]
    none, one = np.zeros_like(x), np.ones_like(x)
    slides = np.stack(
        [np.stack(v, axis=1).ravel() for v in ((one, none, none), (none, one, none), (-y, x, none))]
    ).T
    flat = missed.ravel()
    flat = flat - slides @ np.linalg.lstsq(slides, flat, rcond=None)[0]
    return float(np.linalg.norm(flat) / np.linalg.norm(wanted))


def row(name: str, shape: Shape) -> str:
    """One line of the table."""
    began = time.process_time()
    there = limit(shape)
    took = time.process_time() - began
    solid, material = shape.surface(), shape.material()
    problem = prepare(solid, material, SagSettings())
    plain, _ = solve_on_two_grids(problem, lambda _: None)
    began = time.process_time()
    here = solve_sag(solid, material, SagSettings())
    ours = time.process_time() - began
    before = plain.field.lowest()[0] / there.sag_mm - 1.0
    off = here.largest_sag_mm / there.sag_mm - 1.0
    field = compared(shape, there.finest, here.field.at)
    return (
        f"| {name} | {there.sag_mm:.3f} | {100 * there.own_error:.1f} % ({there.order:.1f}) "
        f"| {100 * before:+.1f} % | {100 * off:+.1f} % | {100 * field:.1f} % "
        f"| {100 * here.numerical_mm / here.largest_sag_mm:.1f} % "
        f"| {here.unknowns:,} | {ours:.0f} | {there.finest.unknowns:,} | {took:.0f} |"
    )


HEAD: Final = (
    "| shape | sag, mm | reference unsure by (order) | two grids alone | steered | whole field "
    "| states, 95 % | unknowns | s | of the reference | s |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|"
)


def write_page(made: dict[str, str]) -> None:
    """Put rows into the page's table: those of other shapes stay, where they have these columns."""
    before, rest = PAGE.read_text(encoding="utf-8").split(MARKS[0])
    table, after = rest.split(MARKS[1])
    if table.startswith(HEAD):
        for line in table.removeprefix(HEAD).splitlines():
            name = line.strip("|").split("|")[0].strip()
            made.setdefault(name, line)
    lines = [HEAD, *(made[name] for name in SHAPES if name in made)]
    text = "\n".join(lines) + "\n"
    PAGE.write_text(f"{before}{MARKS[0]}{text}{MARKS[1]}{after}", encoding="utf-8")


def main() -> None:
    """Print the table, or write it into the page."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--only", default="", help="only shapes whose name holds this text")
    options.add_argument("--page", action="store_true", help="write the table into the page")
    asked = options.parse_args()
    print(HEAD)
    for name, make in SHAPES.items():
        if asked.only in name:
            made = row(name, make())
            print(made, flush=True)
            if asked.page:
                write_page({name: made})


if __name__ == "__main__":
    main()
