"""Solids made from meshes as they come."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule.mesh.bodies import solid_from_mesh


def test_read_only_arrays_make_a_solid() -> None:
    cube = trimesh.creation.box((2.0, 3.0, 4.0))
    vertices, facets = np.array(cube.vertices), np.array(cube.faces)
    vertices.flags.writeable = False
    facets.flags.writeable = False
    assert solid_from_mesh(vertices, facets).volume() == pytest.approx(24.0, rel=1e-12)
