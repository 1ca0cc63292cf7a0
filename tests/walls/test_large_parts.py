"""On a large part the first samples are coarse: places stay one each, and apart from each other."""

from __future__ import annotations

import math

import manifold3d
import numpy as np
import pytest
import trimesh

import shrinkrule.walls.check as check
from shrinkrule.printer import Printer
from shrinkrule.walls import FindingKind, check_walls

PRINTER = Printer.from_nozzle(0.6)
FINS, HIGH, LONG, THIN = 6, 28.0, 80.0, 1.1


def mesh_of(made: manifold3d.Manifold) -> trimesh.Trimesh:
    mesh = made.to_mesh()
    return trimesh.Trimesh(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts))


@pytest.mark.parametrize(("coarser", "to"), [(1, 0.08), (2, 0.12)])
def test_a_thin_strip_beside_a_bore_is_one_place(
    coarser: int, to: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three bores, each 1.1 mm inside the same face; the wall is thin over a strip along each.

    Between a circle and a line the ball at ``x`` beside the middle of the face has the diameter
    ``(x^2 + c^2 - R^2) / (c + R)``, with the circle's middle ``c`` below it.
    """
    monkeypatch.setattr(check, "AIM_SAMPLES", check.AIM_SAMPLES // coarser)
    block = manifold3d.Manifold.cube((110.0, 60.0, 40.0))
    radius, deep = 12.0, 13.1
    for x in (20.0, 55.0, 90.0):
        bore = manifold3d.Manifold.cylinder(50.0, radius, circular_segments=64)
        block -= bore.translate((x, deep, -5.0))
    found = check_walls(mesh_of(block), PRINTER).findings
    thin = [finding for finding in found if finding.kind is FindingKind.SINGLE_BEAD]
    assert len(thin) == 3
    limit = 2.0 * PRINTER.bead_width_mm
    half = math.sqrt(limit * (deep + radius) - deep**2 + radius**2)
    # On the bore's side it ends where the same balls touch.
    reaches = radius * math.atan(half / (deep - 0.5 * limit))
    area = 40.0 * 2.0 * (half + reaches)
    for finding in thin:
        assert finding.smallest_mm == pytest.approx(1.1, abs=0.011)
        assert finding.area_mm2 == pytest.approx(area, rel=to)


def test_thin_fins_side_by_side_are_a_place_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """Their rims are as near to each other as samples that stand for neighbouring pieces."""
    monkeypatch.setattr(check, "AIM_SAMPLES", check.AIM_SAMPLES // 2)
    comb = manifold3d.Manifold.cube((2.0 * FINS + 6.0, LONG, 6.0))
    for number in range(FINS):
        fin = manifold3d.Manifold.cube((THIN, LONG, HIGH + 0.1))
        comb += fin.translate((3.0 + 2.0 * number, 0.0, 5.9))
    found = check_walls(mesh_of(comb), PRINTER).findings
    thin = [finding for finding in found if finding.kind is FindingKind.SINGLE_BEAD]
    assert len(thin) == FINS
    both_sides = 2.0 * LONG * HIGH
    for finding in thin:
        assert finding.area_mm2 == pytest.approx(both_sides + THIN * (LONG + 2.0 * HIGH), rel=0.06)
