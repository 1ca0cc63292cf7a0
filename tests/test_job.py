"""The main job on the sample models: each has one thing worth finding, and it is found."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
import trimesh

from shrinkrule import (
    Estimate,
    FindingKind,
    JobResult,
    LengthEffect,
    Printer,
    Recipe,
    ScaleFactors,
    compensate,
    demo_table,
    part_from_mesh,
    read_part,
)
from shrinkrule.errors import MeshError, SettingError, TableError
from shrinkrule.job import Level, Outline
from shrinkrule.job.sag_look import thin_wall_mm
from shrinkrule.report.words import offset_to_set
from shrinkrule.sag.settings import SagSettings

SAMPLES = Path(__file__).parent.parent / "sample_models"
ROW = demo_table()[1]


def job(name: str, unit: str | None = None, nozzle: float = 0.6) -> JobResult:
    part = read_part(SAMPLES / f"{name}.stl", unit)
    return compensate(part, Recipe(Printer.from_nozzle(nozzle), ROW))


def kinds(result: JobResult) -> set[FindingKind]:
    return {place.finding.kind for place in result.walls.places}


def test_the_thin_cup_is_stopped_at_its_relief() -> None:
    """Its 0.5 mm wall is 0.585 mm green; one bead of a 0.6 mm nozzle is 0.66 mm."""
    result = job("thin_cup")
    thin = next(p for p in result.walls.places if p.finding.kind is FindingKind.THIN_WALL)
    # The inside of the cup is a polygon of 96 sides: its flats are 5 micrometres nearer.
    assert thin.wanted_mm == pytest.approx(0.5, abs=0.006)
    assert thin.needed_mm == pytest.approx(0.66 * (1 - 0.1455), abs=1e-6)
    # The relief spans 19 degrees to either side of x, between the radii 9.5 and 10.
    x, y = thin.in_model[:2]
    assert 9.4 < math.hypot(x, y) < 10.1
    assert abs(math.degrees(math.atan2(y, x))) < 21
    assert 7 < thin.in_model[2] < 15
    assert result.verdict.level is Level.STOP


def test_a_finer_nozzle_makes_the_cup() -> None:
    assert FindingKind.THIN_WALL not in kinds(job("thin_cup", nozzle=0.4))


def test_the_gear_blank_has_five_spokes_of_one_bead() -> None:
    result = job("gear_blank")
    spokes = [p for p in result.walls.places if p.finding.kind is FindingKind.SINGLE_BEAD]
    assert len(spokes) == 5
    assert [p.wanted_mm for p in spokes] == pytest.approx([1.0] * 5, abs=1e-3)  # told to 0.1 %
    assert result.verdict.level is Level.LOOK


def test_the_pillow_block_is_thick_inside() -> None:
    result = job("pillow_block")
    assert kinds(result) == {FindingKind.THICK_SECTION}
    assert result.walls.report.thickest_mm > 12


def test_the_bracket_says_its_unit_and_is_right_in_inches() -> None:
    wrong = job("bracket_inches")
    assert any(", in (" in reason.text for reason in wrong.verdict.reasons)
    right = job("bracket_inches", "in")
    assert right.prediction.sizes[0].wanted_mm == pytest.approx(1.25 * 25.4, rel=1e-6)
    assert not any("odd for" in reason.text for reason in right.verdict.reasons)


def test_a_plain_block_is_made() -> None:
    part = part_from_mesh(trimesh.creation.box((30, 20, 5)))
    result = compensate(part, Recipe(Printer.from_nozzle(0.6), ROW))
    assert result.verdict.level is Level.MAKE
    assert result.walls.places == ()


@pytest.mark.parametrize("up", ["z", "x", "y"])
def test_sag_is_planned_for_the_wall_as_wanted_whatever_way_up_it_is_printed(up: str) -> None:
    """The walls are measured green, where Z is stretched more than XY: a plate lies 3 mm thick."""
    part = part_from_mesh(trimesh.creation.box((30, 20, 3)))
    recipe = Recipe(Printer.from_nozzle(0.6), ROW, print_up=up, look_at_sag=False)
    assert recipe.scale.z != pytest.approx(recipe.scale.x, rel=0.01)
    walls = compensate(part, recipe).walls
    assert thin_wall_mm(walls.green, walls.report) == pytest.approx(3.0, rel=1e-6)


def test_positions_are_told_in_the_model_whatever_way_up_it_is_printed() -> None:
    part = read_part(SAMPLES / "thin_cup.stl")
    for up in ("z", "x", "-y"):
        result = compensate(
            part, Recipe(Printer.from_nozzle(0.6), ROW, print_up=up, look_at_sag=False)
        )
        thin = result.walls.places[0]
        x, y, z = thin.in_model
        assert 9.0 < (x**2 + y**2) ** 0.5 < 10.1, up
        assert x > 0, up
        assert abs(y) < 3.7, up
        assert 7 < z < 15, up
        assert thin.wanted_mm == pytest.approx(0.5, abs=0.01), up


def test_progress_is_told_and_rises() -> None:
    told: list[float] = []
    part = part_from_mesh(trimesh.creation.box((30, 20, 5)))
    compensate(part, Recipe(Printer.from_nozzle(0.6), ROW), lambda stage, done: told.append(done))
    assert told == sorted(told)
    assert told[-1] <= 1.0


def test_an_untrusted_part_is_scaled_but_stopped() -> None:
    box = trimesh.creation.box((30, 20, 5))
    part = part_from_mesh(trimesh.Trimesh(box.vertices, box.faces[:-1], process=False))
    result = compensate(part, Recipe(Printer.from_nozzle(0.6), ROW))
    assert result.verdict.level is Level.STOP
    assert result.prediction.sizes[0].green_mm == pytest.approx(30 / (1 - 0.1455))
    assert result.prediction.green_volume_mm3 != result.prediction.green_volume_mm3  # nan


def test_a_recipe_needs_one_source_of_shrinkage() -> None:
    with pytest.raises(SettingError, match="either from a table"):
        Recipe(Printer.from_nozzle(0.6))
    with pytest.raises(SettingError, match="either from a table"):
        Recipe(Printer.from_nozzle(0.6), ROW, ScaleFactors.alike(1.2, 1.2))


def test_a_recipe_that_cannot_work_is_refused_when_it_is_built() -> None:
    printer = Printer.from_nozzle(0.6)
    with pytest.raises(SettingError, match="no way up"):
        Recipe(printer, ROW, print_up="sideways")
    with pytest.raises(TableError, match="sag_modulus_kpa"):
        Recipe(printer, replace(ROW, sag_modulus_kpa=None), sag=SagSettings())
    with pytest.raises(SettingError, match="thickest section"):
        Recipe(printer, ROW, coupon_section_mm=0.0)


def test_outlines_moved_in_the_mesh_undo_the_spread() -> None:
    """What is sliced is smaller by the spread on each side; the part predicted is the same."""
    part = part_from_mesh(trimesh.creation.box((30, 20, 5)))
    told = compensate(part, Recipe(Printer.from_nozzle(0.6), ROW))
    moved = compensate(part, Recipe(Printer.from_nozzle(0.6), ROW, outline=Outline.IN_MESH))
    assert ROW.bead_offset_mm is not None
    smaller = told.to_slice.extents - moved.to_slice.extents
    assert smaller == pytest.approx([0.08, 0.08, 0.0], abs=1e-9)
    assert moved.prediction == told.prediction
    assert offset_to_set(told).startswith("outline offset of the print -0.040 mm")
    assert offset_to_set(moved).startswith("no outline offset in the print: it is in the mesh")


def test_outlines_need_a_known_offset_and_walls_to_move() -> None:
    part = part_from_mesh(trimesh.creation.box((30, 20, 5)))
    printer = Printer.from_nozzle(0.6)
    unknown = replace(ROW, bead_offset_mm=None)
    with pytest.raises(SettingError, match="no bead offset is known"):
        compensate(part, Recipe(printer, unknown, outline=Outline.IN_MESH))
    wide = replace(ROW, bead_offset_mm=Estimate(1.6, 0.1))
    with pytest.raises(MeshError, match="too thin to move"):
        compensate(part, Recipe(printer, wide, outline=Outline.IN_MESH))


@pytest.mark.parametrize("up", ["z", "x"])
def test_a_shrinkage_that_grows_with_height_meets_the_part_s_own_height(up: str) -> None:
    """fired = (1 - s) green + a (1 - green / c): the box comes out as wanted, whatever is up."""
    effect = LengthEffect(Estimate(0.12, 0.02), 14.0)
    row = replace(ROW, length_effect_z=effect)
    part = part_from_mesh(trimesh.creation.box((30, 20, 8)))
    result = compensate(part, Recipe(Printer.from_nozzle(0.6), row, print_up=up))
    height = 8.0 if up == "z" else 30.0
    green = float(result.green.mesh.extents[2])
    assert row.along("z").fired_mm(green) == pytest.approx(height, rel=1e-9)
    assert result.prediction.layers is not None
    whole = result.prediction.sizes[2].fired_mm.value - result.prediction.layers.off_mm
    assert whole == pytest.approx(height, rel=1e-9)
    plain = compensate(part, Recipe(Printer.from_nozzle(0.6), ROW, print_up=up))
    assert abs(green - float(plain.green.mesh.extents[2])) > 0.02
    assert any(
        "a short length comes out up to 0.12 mm larger" in reason.text
        for reason in result.verdict.reasons
    )


def test_the_worst_place_is_the_thinnest_not_the_largest() -> None:
    """A large plate of 0.55 mm and a small one of 0.3 mm, both too thin for the bead."""
    large = trimesh.creation.box((30.0, 0.55, 20.0))
    small = trimesh.creation.box((6.0, 0.3, 6.0)).apply_translation((0.0, 10.0, 0.0))
    part = part_from_mesh(trimesh.util.concatenate([large, small]))
    result = compensate(
        part, Recipe(Printer.from_nozzle(0.6), factors=ScaleFactors.alike(1.0, 1.0))
    )
    (thin,) = [r.text for r in result.verdict.reasons if r.text.startswith("thin wall")]
    assert "2 places, worst 0.30 mm" in thin
