"""Sizes that cannot be, and models that may be in inches."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import trimesh

from shrinkrule import Printer, Recipe, demo_table, find_row, part_from_mesh, read_part
from shrinkrule.compensation import green_part, predict_fired, way_up
from shrinkrule.errors import FileError, SettingError
from shrinkrule.files.threemf.write import threemf_bytes
from shrinkrule.furnace import parse_box
from shrinkrule.job import Check, State
from shrinkrule.job.printing_checks import bed_check, size_check

ROW = find_row(demo_table(), "bronze demo batch 90", "demo table")
RECIPE = Recipe(Printer.from_nozzle(0.6), ROW)


def of_box(sides: tuple[float, float, float], recipe: Recipe = RECIPE) -> Check:
    part = part_from_mesh(trimesh.creation.box(sides))
    green = green_part(part.mesh, recipe.scale, way_up("z"), 0)
    return size_check(recipe, green, predict_fired(green, recipe.row, part.mesh.volume))


@pytest.mark.parametrize(
    ("sides", "state"),
    [
        ((30, 20, 10), State.FINE),
        ((60, 60, 40), State.LOOK),  # 144 cm3 of a metal of 8 g/cm3: over a kilogram
        ((1500, 1500, 1500), State.STOP),  # tonnes
        ((0.3, 0.2, 0.1), State.STOP),  # less than a bead
    ],
)
def test_sizes_that_cannot_be(sides: tuple[float, float, float], state: State) -> None:
    assert of_box(sides).state is state


@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "3mf", "obj", "ply", "off"])
def test_what_no_furnace_holds_is_refused_from_every_file(kind: str, tmp_path: Path) -> None:
    """The largest box that can be stated is 5 m; a rod of 90 m kept a check busy for long."""
    with pytest.raises(SettingError, match="no inside size"):
        parse_box("5001x100x100")
    path = tmp_path / f"rod.{kind.removesuffix('_ascii')}"
    for length, fits in ((4999.0, True), (5001.0, False)):
        rod = trimesh.creation.box((length, 10.0, 10.0))
        if kind == "3mf":
            path.write_bytes(threemf_bytes(rod, "rod", {}))
        else:
            rod.export(path, file_type=kind)
        if fits:
            assert read_part(path).mesh.extents[0] == pytest.approx(length)
            continue
        with pytest.raises(FileError, match="side is 5001 mm, and nobody prints over 5000 mm"):
            read_part(path)


def test_the_bed_is_held_to_in_this_turn_or_a_quarter_turn_on() -> None:
    """The green box is 35.1 x 23.4 x 11.9 mm."""
    part = part_from_mesh(trimesh.creation.box((30, 20, 10)))
    green = green_part(part.mesh, RECIPE.scale, way_up("z"), 0)
    assert bed_check(RECIPE, green).state is State.NOT_LOOKED_AT
    assert bed_check(replace(RECIPE, bed_mm=(24.0, 36.0, 12.0)), green).state is State.FINE
    for bed in ((23.0, 36.0, 12.0), (24.0, 35.0, 12.0), (24.0, 36.0, 11.8)):
        assert bed_check(replace(RECIPE, bed_mm=bed), green).state is State.STOP
    with pytest.raises(SettingError, match="bed"):
        replace(RECIPE, bed_mm=(0.0, 10.0, 10.0))


@pytest.mark.parametrize(
    ("sides", "suspected"),
    [
        ((5.0, 2.5, 1.375), True),  # 5 x 2 1/2 x 1 3/8 inches
        ((2.656, 2.953, 0.625), True),  # 2 21/32 and 2 61/64, as a drawing rounds them
        ((5.0, 2.5, 1.5), False),  # as round in mm
        ((20.0, 20.0, 20.0), False),
        ((203.2, 304.8, 12.7), False),  # drawn in inches, but its numbers are mm
        ((12.5, 25.0, 6.25), False),  # would be 635 mm long
        ((5.13, 2.47, 1.31), False),
        ((1.25, 0.75, 1.0), True),
        ((1.2, 0.7, 1.0), False),
    ],
)
def test_inches_are_suspected_only_where_numbers_are_round_in_them(
    sides: tuple[float, float, float], suspected: bool
) -> None:
    part = part_from_mesh(trimesh.creation.box(sides))
    said = " ".join(part.warnings)
    assert ("drawn in inches" in said or "in (" in said) is suspected
