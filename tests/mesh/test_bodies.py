"""Solids made from meshes as they come."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule.mesh import part_from_mesh
from shrinkrule.mesh.bodies import solid_from_mesh


def test_read_only_arrays_make_a_solid() -> None:
    cube = trimesh.creation.box((2.0, 3.0, 4.0))
    vertices, facets = np.array(cube.vertices), np.array(cube.faces)
    vertices.flags.writeable = False
    facets.flags.writeable = False
    assert solid_from_mesh(vertices, facets).volume() == pytest.approx(24.0, rel=1e-12)


def test_bodies_that_were_not_compared_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three boxes share a corner; where one pair may be compared, the others are not known."""
    boxes = [trimesh.creation.box((6, 6, 6)).apply_translation((2 * k, k, 0)) for k in range(3)]
    row = trimesh.util.concatenate(boxes)
    part = part_from_mesh(row)
    assert part.overlaps == ((1, 2), (1, 3), (2, 3))
    assert not any("compared" in text for text in part.warnings)
    monkeypatch.setattr("shrinkrule.mesh.bodies.MAX_PAIRS", 1)
    part = part_from_mesh(row)
    assert part.overlaps == ((1, 2),)
    assert any("too many lie close together to be compared" in text for text in part.warnings)
