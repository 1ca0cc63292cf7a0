"""Surfaces that lie in their own inside are found, and sound ones are never taken for such."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule.printer import Printer
from shrinkrule.walls import FindingKind, Status, check_walls
from walls.shapes import box, shell, tube, turned

PRINTER = Printer(nozzle_mm=0.6, bead_width_mm=0.66, layer_height_mm=0.3)


def bodies(*parts: trimesh.Trimesh) -> trimesh.Trimesh:
    """Several parts in one mesh."""
    return trimesh.util.concatenate(list(parts))


@pytest.mark.parametrize("seed", range(3))
def test_bodies_that_share_space_are_doubted_where_they_do(seed: int) -> None:
    """A rod of 4 x 4 mm that goes 10 mm deep into a cube of 20 mm.

    Inside the other body lie 176 mm2 of the rod and 16 mm2 of the cube; and what looks at
    a surface in its own inside is as much of the cube's five other sides, 176 mm2, and
    the rod's other end, 16 mm2.
    """
    rod = box(20, 4, 4).apply_translation((10, 1, 2))
    report = check_walls(turned(bodies(box(20, 20, 20), rod), seed), PRINTER)
    assert not report.trusted
    assert any("share space" in note for note in report.notes)
    crossed = report.samples.status == Status.CROSSED
    assert report.samples.area[crossed].sum() == pytest.approx(384.0, rel=0.03)
    assert np.isnan(report.samples.thickness[crossed]).all()
    assert {f.kind for f in report.findings} <= {FindingKind.THICK_SECTION}


def test_a_surface_that_passes_through_itself_is_doubted() -> None:
    """A ring bent until its ends overlap, closed at both ends."""
    turn = np.radians(400.0)
    rod = trimesh.creation.cylinder(radius=1.5, height=1.0, sections=24)
    rod = rod.subdivide().subdivide().subdivide()
    x, y, z = rod.vertices.T
    angle = (z + 0.5) * turn
    rod.vertices = np.column_stack([(8 + x) * np.cos(angle), (8 + x) * np.sin(angle), -y])
    report = check_walls(rod, PRINTER)
    assert any("passes through itself" in note for note in report.notes)


@pytest.mark.parametrize(
    "part",
    [
        box(10, 20, 30),
        tube(4.0, 0.8, 10.0, 48, 6),
        shell(5.0, 1.0, 3),
        bodies(box(5, 5, 5), box(5, 5, 5).apply_translation((6, 0, 0))),
        trimesh.creation.torus(8.0, 2.0),
        trimesh.creation.cone(3.0, 12.0, sections=64),
    ],
    ids=["box", "tube", "shell", "two", "ring", "cone"],
)
@pytest.mark.parametrize("seed", range(3))
def test_sound_parts_are_not_doubted(part: trimesh.Trimesh, seed: int) -> None:
    report = check_walls(turned(part, seed), PRINTER)
    assert report.trusted
    assert report.notes == ()
