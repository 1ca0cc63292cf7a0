"""What the maker reads of a place: both steps of a mend, both units of an inch model, counts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold

from shrinkrule.compensation import ScaleFactors, green_part, way_up
from shrinkrule.files.stl import stl_bytes
from shrinkrule.job import WallLook, look_at_walls
from shrinkrule.mesh import read_part
from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.printer import Printer
from shrinkrule.report.console import rows_to_show
from shrinkrule.report.place_words import kind_text, mend_text, place_text, rows_left_out
from shrinkrule.walls import FindingKind, WallLimits

PRINTER = Printer(nozzle_mm=0.6, bead_width_mm=0.66, layer_height_mm=0.3)


def looked(solid: trimesh.Trimesh, folder: Path, unit: str = "mm") -> WallLook:
    """Wall check of a solid written in a unit, scaled by 1.2 and 1.25."""
    (folder / "part.stl").write_bytes(stl_bytes(solid, "part"))
    part = read_part(folder / "part.stl", unit)
    green = green_part(part.mesh, ScaleFactors.alike(1.2, 1.25), way_up("z"))
    return look_at_walls(part, green, PRINTER, WallLimits())


def fins(count: int, turn: bool = False) -> trimesh.Trimesh:
    """Fins of 0.4 mm on a block, in a row or about a middle."""
    solid = Manifold.cylinder(4.0, 14.0, 14.0, 96)
    for k in range(count):
        fin = Manifold.cube((8.0, 0.4, 6.0)).translate((4.0, -0.2, 3.0))
        solid += fin.rotate((0.0, 0.0, 360.0 * k / count)) if turn else fin
    return mesh_from_solid(solid)


def test_a_mend_tells_what_prints_and_what_is_sound(tmp_path: Path) -> None:
    """Bead 0.66 over 1.2 is 0.55 mm, two of them 1.10 mm in the wanted model."""
    (place,) = looked(fins(1), tmp_path).places
    assert place.finding.kind is FindingKind.THIN_WALL
    assert mend_text(place) == "thicken from 0.40: prints from 0.55, sound from 1.10 mm"


def test_an_inch_model_is_told_in_both_units(tmp_path: Path) -> None:
    small = fins(1).apply_scale(1.0 / 25.4)
    (place,) = looked(small, tmp_path, "in").places
    x, y, z = place.in_model
    text = place_text(place, "in")
    assert f"{x:.1f}, " in text
    assert f"({x / 25.4:.3f}, {y / 25.4 + 0.0:.3f}, {z / 25.4:.3f} in)" in text.replace(
        "-0.000", "0.000"
    )
    assert mend_text(place, "in").endswith("(0.016, 0.022, 0.043 in)")


def test_places_alike_are_one_row_however_they_are_turned(tmp_path: Path) -> None:
    look = looked(fins(7, turn=True), tmp_path)
    assert len(look.places) == 7
    (row,) = look.rows
    assert kind_text(row) == "7 × thin wall"


def test_a_screen_shows_every_kind_and_counts_the_rest(tmp_path: Path) -> None:
    """Fourteen fins, each of another length, and one thick section that must not be hidden."""
    solid = Manifold.cube((60.0, 60.0, 14.0))
    for k, length in enumerate(np.geomspace(3.0, 55.0, 14)):
        solid += Manifold.cube((0.4, float(length), 6.0)).translate((2.0 + 3.9 * k, 2.0, 13.0))
    rows = looked(mesh_from_solid(solid), tmp_path).rows
    shown = rows_to_show(rows)
    kinds = {row.worst.finding.kind for row in shown}
    assert kinds == {FindingKind.THIN_WALL, FindingKind.THICK_SECTION}
    left = [row for row in rows if row not in shown]
    counted = sum(row.count for row in left)
    assert counted == 15 - sum(row.count for row in shown)
    assert counted == 5
    assert rows_left_out(left) == f"{counted} × thin wall"


@pytest.mark.parametrize("unit", ["mm", "millimeter"])
def test_a_model_in_millimetres_is_told_once(unit: str, tmp_path: Path) -> None:
    (place,) = looked(fins(1), tmp_path).places
    assert "(" not in place_text(place, unit) + mend_text(place, unit)
