"""What a maker reads off the main job: offset to set, room in the furnace, sag, intervals."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from sag.solids import bar, united
from shrinkrule import (
    Estimate,
    LengthEffect,
    Printer,
    Recipe,
    compensate,
    demo_table,
    part_from_mesh,
    stl_bytes,
)
from shrinkrule.cli import main
from shrinkrule.errors import MeshError
from shrinkrule.furnace import BoxFurnace
from shrinkrule.job import Outline
from shrinkrule.job.result import Place, alike_places
from shrinkrule.report.printer_words import print_facts
from shrinkrule.report.words import outline_offset
from shrinkrule.units import rounded_up
from shrinkrule.walls import Finding, FindingKind, Rule
from shrinkrule.walls.findings import Axis

ROW = demo_table()[1]
KEPT_XY, KEPT_Z = 1.0 - 0.1455, 1.0 - 0.16
"""What the demo row leaves of a green length."""

BOX = trimesh.creation.box((30.0, 20.0, 5.0))


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")
    return tmp_path


def shown(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(list(arguments)) == 0
    return " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("spread_mm", [0.04, -0.03])
def test_the_offset_to_set_undoes_the_spread(spread_mm: float) -> None:
    """Outlines that spread outward are drawn further in, and by as much."""
    row = replace(ROW, bead_offset_mm=Estimate(spread_mm, 0.01))
    result = compensate(part_from_mesh(BOX), Recipe(Printer.from_nozzle(0.6), row))
    told = outline_offset(result)
    offset = re.search(r"outline offset of the print to ([+-]\d\.\d+) mm", told)
    larger = re.search(r"about (-?\d\.\d+) mm larger", told)
    assert offset is not None
    assert larger is not None
    assert float(offset[1]) + spread_mm == pytest.approx(0.0, abs=1e-9)
    # Both sides spread, and the spread shrinks with the part; two decimals are told.
    assert float(larger[1]) == pytest.approx(2.0 * spread_mm * KEPT_XY, abs=0.005)


def test_the_offset_is_on_the_screen(in_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (in_folder / "box.stl").write_bytes(stl_bytes(BOX, "box"))
    said = shown(capsys, "compensate", "box.stl", "--demo-table")
    assert "set: outline offset of the print -0.040 mm" in said
    assert "masses" not in said
    said = shown(capsys, "compensate", "box.stl", "--demo-table", "--verbose")
    assert "masses green" in said
    assert "Beads spread 0.040 ± 0.020 mm (95 %) beyond each outline" in said
    assert "outline offset of the print to -0.040 mm" in said


@pytest.mark.parametrize("upward", [1.0, -1.0])
def test_a_tip_off_the_outline_takes_height_in_the_furnace(upward: float) -> None:
    """A cone's tip lies amid its outline, and is alone at its height."""
    cone = trimesh.creation.cone(radius=15.0, height=20.0, sections=48)
    if upward < 0.0:
        cone.apply_transform(trimesh.transformations.rotation_matrix(np.pi, [1, 0, 0]))
    recipe = Recipe(Printer.from_nozzle(0.6), ROW, furnace=BoxFurnace(90.0, 90.0, 26.0))
    result = compensate(part_from_mesh(cone), recipe)
    fit = result.furnace_fit
    assert fit is not None
    assert fit.tight == "height"
    # Two millimetres are kept free below and above.
    assert fit.spare_mm == pytest.approx(26.0 - 4.0 - 20.0 / KEPT_Z)
    assert not fit.fits


def test_the_interval_in_the_list_of_rows_is_the_one_of_a_part(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """40 mm means 40 mm of the finished part, whoever prints its interval.

    By hand: Student's 2.306 at 8 degrees of freedom weighs by the share of 0.09 and 0.21 % of the
    green length to the power 2 - 0.75 / 8, the normal 1.96 by that of a residual of 0.03 mm; half
    widths are rounded up.
    """
    green = 40.0 / KEPT_XY
    shrinking = (0.01 * green) ** 2 * (0.09**2 + 0.21**2)
    total = shrinking + 0.03**2
    by_hand = (1.960 + (2.306 - 1.960) * (shrinking / total) ** (2.0 - 0.75 / 8.0)) * total**0.5
    said = shown(capsys, "rows")
    found = re.search(r"bronze demo batch 90 .*? (0\.\d\d), (0\.\d\d), (0\.\d\d)", said)
    assert "± 95 %, of an outside length of 40 mm" in said
    assert found is not None
    assert by_hand <= float(found[1]) < by_hand + 0.0101
    part = part_from_mesh(trimesh.creation.box((40.0, 40.0, 40.0)))
    sizes = compensate(part, Recipe(Printer.from_nozzle(0.6), ROW)).prediction.sizes
    assert sizes[0].fired_mm.half95 == pytest.approx(by_hand, rel=1e-3)
    for size, told in zip(sizes, found.groups(), strict=True):
        assert size.fired_mm.half95 is not None
        assert rounded_up(size.fired_mm.half95) == told


def test_the_interval_of_the_sag_is_that_of_modulus_and_bricks(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The demo batch knows its modulus to 12 % by 8 degrees of freedom, as a logarithm.

    Student's 2.306 makes that a factor of exp(0.277) = 1.319 either way: sag goes as one over the
    modulus, so it may be 24 % less or 32 % more. The bricks' share is added in squares.
    """
    bridge = united(
        bar((0, 0, 0), (4, 6, 8)), bar((20, 0, 0), (24, 6, 8)), bar((0, 0, 6), (24, 6, 8))
    )
    (in_folder / "bridge.stl").write_bytes(stl_bytes(bridge, "bridge"))
    said = shown(
        capsys, "compensate", "bridge.stl", "--demo-table", "--sag", "--sag-detail", "6000"
    )
    sag = json.loads((in_folder / "bridge.report.json").read_text())["sag"]
    found = re.search(r"sags by ([\d.]+) mm \(([\d.]+) to ([\d.]+), 95 %\)", said)
    assert found is not None
    largest, factor = sag["largest_sag_mm"], np.exp(2.306 * 0.12)
    below = np.hypot(largest * (1.0 - 1.0 / factor), sag["sag_u95_from_bricks_mm"])
    above = np.hypot(largest * (factor - 1.0), sag["sag_u95_from_bricks_mm"])
    assert sag["sag_interval95_mm"] == pytest.approx([largest - below, largest + above], rel=1e-4)
    finest = 0.51 * 10.0 ** -len(found[1].partition(".")[2])
    assert [float(found[2]), float(found[3])] == pytest.approx(sag["sag_interval95_mm"], abs=finest)
    bounds = re.search(r"is unsure of \((-[\d.]+) to \+([\d.]+) mm\)", said)
    assert bounds is not None
    finest = 0.51 * 10.0 ** -len(bounds[1].partition(".")[2])
    by_modulus = [largest / factor - largest, largest * factor - largest]
    assert [float(bounds[1]), float(bounds[2])] == pytest.approx(by_modulus, abs=finest)
    assert b"pre-curved" in (in_folder / "bridge.green.stl").read_bytes()[:80]


@pytest.mark.parametrize("sides", [(30.0, 20.0, 8.0), (20.0, 30.0, 8.0)])
def test_a_shrinkage_that_changes_along_xy_meets_the_longest_side(
    sides: tuple[float, float, float],
) -> None:
    row = replace(ROW, length_effect_xy=LengthEffect(Estimate(0.12, 0.02), 14.0))
    result = compensate(
        part_from_mesh(trimesh.creation.box(sides)), Recipe(Printer.from_nozzle(0.6), row)
    )
    green = float(result.green.mesh.extents[:2].max())
    assert row.along("x").fired_mm(green) == pytest.approx(30.0, rel=1e-9)
    # The shorter side comes out larger: what does not shrink is a greater share of it.
    assert row.along("y").fired_mm(float(result.green.mesh.extents[:2].min())) > 20.02


@pytest.mark.parametrize("missing", ["metal_fraction", "metal_density_g_cm3"])
def test_masses_need_both_metal_fraction_and_density(missing: str) -> None:
    unknown: dict[str, Any] = {missing: None}
    bare = replace(ROW, **unknown)
    result = compensate(part_from_mesh(BOX), Recipe(Printer.from_nozzle(0.6), bare))
    assert result.prediction.green_mass_g is None
    assert result.prediction.fired_mass_g is None
    assert any("masses are not predicted" in note for note in result.prediction.notes)


def test_what_the_printer_does_is_stated_with_its_95_percent_interval() -> None:
    """1.96 x 0.05 % and, at 2 degrees of freedom, 4.303 x 0.01 mm of green, rounded up."""
    row = replace(
        ROW,
        print_scale_x=Estimate(0.0041, 0.0005),
        bore_offset_mm=Estimate(-0.10, 0.01, 2.0),
        shrinkage_xy=replace(ROW.shrinkage_xy, value=0.20),
    )
    facts = dict(
        print_facts(compensate(part_from_mesh(BOX), Recipe(Printer.from_nozzle(0.6), row)))
    )
    assert "X +0.41 ± 0.10, Y" in facts["printer"]
    assert "% (95 %)" in facts["printer"]
    assert "-0.08 ± 0.04 mm off slots" in facts["bores"]


@pytest.mark.parametrize(("spread_mm", "moves"), [(0.58, True), (0.59, False), (-0.58, True)])
def test_outlines_move_while_half_of_the_thinnest_wall_is_left(
    spread_mm: float, moves: bool
) -> None:
    """A wall of 2 mm is 2.340 mm green; both sides move, so that a quarter is 0.585 mm."""
    wall = part_from_mesh(trimesh.creation.box((30.0, 2.0, 10.0)))
    row = replace(ROW, bead_offset_mm=Estimate(spread_mm, 0.01))
    recipe = Recipe(Printer.from_nozzle(0.6), row, outline=Outline.IN_MESH)
    if not moves:
        with pytest.raises(MeshError, match="too thin to move"):
            compensate(wall, recipe)
        return
    sides = compensate(wall, recipe).to_slice.extents
    assert sides[1] == pytest.approx(2.0 / KEPT_XY - 2.0 * spread_mm)


def test_the_knife_edge_that_loses_most_comes_first() -> None:
    """Of one kind, whatever their areas; a loss that is not known comes last."""

    def edge(loss_mm: float | None, area_mm2: float) -> Place:
        corner = (area_mm2, 0.0, 0.0)
        found = Finding(
            FindingKind.KNIFE_EDGE,
            Rule.BALL,
            Axis.UPRIGHT,
            0.1,
            0.6,
            corner,
            (1.0, 0.0, 0.0),
            ((0.0, 0.0, 0.0), corner),
            area_mm2,
            loss_mm=loss_mm,
        )
        return Place(found, np.zeros(3), np.zeros((2, 3)), 0.1, 0.6)

    rows = alike_places((edge(None, 90.0), edge(0.2, 60.0), edge(0.9, 5.0), edge(0.5, 20.0)))
    assert [row.worst.finding.loss_mm for row in rows] == [0.9, 0.5, 0.2, None]


def test_walls_pass_only_where_part_and_report_can_both_be_trusted() -> None:
    recipe = Recipe(Printer.from_nozzle(0.6), ROW, look_at_sag=False)
    look = compensate(part_from_mesh(trimesh.creation.box((20, 20, 5))), recipe).walls
    assert look.why_no_pass == ""
    doubtful = replace(look, report=replace(look.report, trusted=False, notes=("it crosses",)))
    assert doubtful.why_no_pass.endswith("cannot be trusted: it crosses")
