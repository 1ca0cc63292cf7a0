"""Every check of the verdict, and a part that trips it: ``python benchmarks/checks_tripped.py``.

Each part has one thing wrong, by its sizes; ``--write`` puts the table into
``docs/results-checks.md``. A check that a part does not trip, or that another part trips that was
not made for it, is an error.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import trimesh
from manifold3d import Manifold

from shrinkrule import (
    Estimate,
    Printer,
    Recipe,
    compensate,
    demo_table,
    find_row,
    part_from_mesh,
)
from shrinkrule.furnace import BoxFurnace
from shrinkrule.job import JobResult, State
from shrinkrule.mesh.bodies import mesh_from_solid

PAGE: Final = Path(__file__).parents[1] / "docs" / "results-checks.md"
ROW: Final = find_row(demo_table(), "bronze demo batch 90", "the demo table")

HEAD: Final = """# Every check and the part that trips it

Made by `benchmarks/checks_tripped.py`, nozzle 0.6 mm, row "bronze demo batch 90" of the demo table.
Sizes are those of the wanted part, mm. The last lines are parts that nothing is wrong with.

| check | part | says | what the verdict says |
| --- | --- | --- | --- |
"""


@dataclass(frozen=True)
class Trip:
    """A part with one thing wrong.

    Parameters
    ----------
    check : str
        The check that it trips; empty for a part that nothing is wrong with.
    part : str
        What it is, in words.
    make : callable
        Makes its mesh.
    state : State
        What the check says.
    word : str
        What its reason must hold.
    also : tuple of str
        Checks that cannot but be tripped with it.
    recipe : dict
        What is decided otherwise than by default.
    """

    check: str
    part: str
    make: Callable[[], trimesh.Trimesh]
    state: State = State.LOOK
    word: str = ""
    also: tuple[str, ...] = ()
    recipe: dict[str, Any] = field(default_factory=dict)


def cube(*sides: float, at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Manifold:
    """A block with its lowest corner at a place."""
    return Manifold.cube((sides[0], sides[1], sides[2])).translate(at)


def rod(diameter: float, height: float, at: tuple[float, float, float]) -> Manifold:
    """An upright cylinder that stands on a place."""
    return Manifold.cylinder(height, diameter / 2, diameter / 2, 48).translate(at)


def solid(whole: Manifold) -> Callable[[], trimesh.Trimesh]:
    """Maker of a mesh of a solid."""
    return lambda: mesh_from_solid(whole)


def open_box() -> trimesh.Trimesh:
    """A box without two of its facets."""
    box = trimesh.creation.box((20, 20, 5))
    return trimesh.Trimesh(box.vertices, box.faces[:-2], process=False)


BASE: Final = cube(20, 20, 3)
FRACTION: Final = ROW.metal_fraction or Estimate(0.5, 0.01)
OFF: Final = replace(ROW, metal_fraction=replace(FRACTION, value=1.1 * FRACTION.value))
LOOKED: Final[dict[str, Any]] = {"look_at_sag": True}

TRIPS: Final = (
    Trip(
        "model",
        "a box without its lid",
        open_box,
        State.STOP,
        "not a sound solid",
        ("walls", "binder", "fired sizes"),
    ),
    Trip("model", "a block of 3.25 x 2.75 x 1.625", solid(cube(3.25, 2.75, 1.625)),
         word="round in inches", also=("fired sizes",)),
    Trip("size and mass", "a block of 60 x 60 x 60", solid(cube(60, 60, 60)),
         word="weighs", also=("binder", "fired sizes")),
    Trip("size and mass", "a block of 0.4 x 0.3 x 0.2", solid(cube(0.4, 0.3, 0.2)), State.STOP,
         "less than one bead", ("model", "walls", "fired sizes")),
    Trip("bed", "a bar of 60 on a bed of 50 x 50 x 50", solid(cube(60, 8, 5)), State.STOP,
         "larger than the bed", recipe={"bed_mm": (50.0, 50.0, 50.0)}),
    Trip("walls", "a wall of 0.4 on a base", solid(BASE + cube(16, 0.4, 3, at=(2, 10, 2.9))),
         State.STOP, "thin wall"),
    Trip("walls", "a pin of 0.45 on a base", solid(BASE + rod(0.45, 3, (10, 10, 2.9))), State.STOP,
         "thin pin"),
    Trip("walls", "a cup with a floor of 0.5",
         solid(cube(20, 20, 8) - cube(16, 16, 8, at=(2, 2, 0.5))), State.STOP, "thin floor"),
    Trip("walls", "a slot of 0.3 in a base", solid(BASE - cube(0.3, 16, 2, at=(10, 2, 1.5))),
         word="narrow gap"),
    Trip("walls", "a hole of 0.4 through a base", solid(BASE - rod(0.4, 5, (10, 10, -1))),
         word="closing hole"),
    Trip("walls", "a wall of 0.9 on a base", solid(BASE + cube(16, 0.9, 3, at=(2, 10, 2.9))),
         word="single bead"),
    Trip("walls", "a pin of 0.9 on a base", solid(BASE + rod(0.9, 3, (10, 10, 2.9))),
         word="single-bead pin"),
    Trip("walls", "a wedge of 10 degrees", solid(Manifold.hull_points(
        np.array([[0, 0, 0], [30, 0, 0], [0, 0, 5.3], [0, 20, 0], [30, 20, 0], [0, 20, 5.3]]))),
         word="knife edge"),
    Trip("starts in air", "a hook whose tip hangs 4 above the plate",
         solid(cube(4, 8, 12) + cube(12, 8, 3, at=(0, 0, 9)) + cube(3, 8, 5, at=(9, 0, 4))),
         word="starts in air", also=("spans",)),
    Trip("undersides", "an arm of 8 beside a post",
         solid(cube(6, 6, 12) + cube(14, 6, 3, at=(0, 0, 9))), word="unheld underside"),
    Trip("spans", "a bridge of 14", solid(cube(22, 6, 8) - cube(14, 8, 5, at=(4, -1, -1))),
         word="long span"),
    Trip("slender walls", "a wall of 1.5 x 24 high",
         solid(BASE + cube(16, 1.5, 24, at=(2, 9, 2.9))), word="slender"),
    Trip("closed hollows", "a block with a closed hollow of 6 x 6 x 6",
         solid(cube(12, 12, 12) - cube(6, 6, 6, at=(3, 3, 3))), word="closed hollow"),
    Trip("binder", "a block of 20 x 20 x 20", solid(cube(20, 20, 20)), word="thick section"),
    Trip("sag", "an arm of 14, 2 thick, beside a block",
         solid(cube(14, 8, 9) + cube(28, 8, 2, at=(0, 0, 6))), word="as it stands",
         also=("undersides",), recipe=LOOKED),
    Trip("furnace", "a bar of 60 in a box of 50 x 50 x 50", solid(cube(60, 8, 5)), State.STOP,
         "too wide for the", recipe={"furnace": BoxFurnace(50, 50, 50)}),
    Trip("fired sizes", "a bar of 150, longer than any coupon", solid(cube(150, 8, 5)),
         word="longer than the longest coupon"),
    Trip("fired sizes", "a plate of 1.35", solid(cube(20, 20, 1.35)), word="whole layers"),
    Trip("metal balance", "a plain block, by a row whose metal fraction is 10 % too large",
         solid(cube(20, 20, 5)), word="disagree", recipe={"row": OFF}),
    Trip("", "a plain block of 20 x 20 x 5", solid(cube(20, 20, 5)), State.FINE, recipe=LOOKED),
    Trip("", "a plate with a hole of 6", solid(BASE - rod(6, 5, (10, 10, -1))), State.FINE,
         recipe=LOOKED),
)  # fmt: skip


def result_of(trip: Trip) -> JobResult:
    """The job of a part that trips a check."""
    decided: dict[str, Any] = {"row": ROW, "look_at_sag": False, **trip.recipe}
    return compensate(
        part_from_mesh(trip.make(), trip.part), Recipe(Printer.from_nozzle(0.6), **decided)
    )


def tripped(trip: Trip) -> str:
    """Line of the table.

    Raises
    ------
    ValueError
        If the check does not say what it should, or another one weighs.
    """
    verdict = result_of(trip).verdict
    weighs = {check.name: check for check in verdict.checks if check.reasons}
    if strange := set(weighs) - {trip.check, *trip.also}:
        raise ValueError(f"{trip.part}: {', '.join(sorted(strange))} weigh too")
    if not trip.check:
        return f"| none | {trip.part} | {trip.state.value} | {verdict.headline} |"
    said = (
        [r for r in weighs[trip.check].reasons if trip.word in r.text]
        if trip.check in weighs
        else []
    )
    if not said or said[0].state is not trip.state:
        raise ValueError(f"{trip.part}: {trip.check} does not say {trip.state.value}: {trip.word}")
    return f"| {trip.check} | {trip.part} | {trip.state.value} | {said[0].text} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    asked = parser.parse_args()
    lines, wrong = [], 0
    for trip in TRIPS:
        try:
            lines.append(tripped(trip))
        except ValueError as error:
            lines.append(f"WRONG {error}")
            wrong += 1
        print(lines[-1], flush=True)
    if wrong:
        raise SystemExit(f"{wrong} parts do not trip what they were made for")
    if asked.write:
        PAGE.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
