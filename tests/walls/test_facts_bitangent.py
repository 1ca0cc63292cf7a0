"""A ball that never rests spans no wall; one between parallel faces does."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection

from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.walls.thickness.bitangent import bitangent_spheres
from shrinkrule.walls.thickness.spheres import Surface


def radius(mesh: trimesh.Trimesh, start: tuple[float, float, float], bound: float) -> float:
    surface = Surface(mesh)
    starts = np.array([start]) - surface.middle
    return float(bitangent_spheres(surface.tree, starts, np.array([bound])).radius[0])


@pytest.mark.parametrize("degrees", [20.0, 30.0])
def test_between_the_faces_of_a_wedge_there_is_no_bitangent_sphere(degrees: float) -> None:
    """The centre moves to cos^2 of half the angle of its distance from the edge, without end."""
    half = 20.0 * np.tan(np.radians(degrees / 2.0))
    outline = np.array([(0.0, 0.0), (20.0, -half), (20.0, half)])
    wedge = mesh_from_solid(CrossSection([outline]).extrude(30.0))
    assert radius(wedge, (8.0, 0.1, 15.0), 6.0) == 0.0


def test_between_parallel_faces_it_is_half_their_distance() -> None:
    plate = trimesh.creation.box((20.0, 20.0, 2.0))
    assert radius(plate, (1.0, 2.0, 0.3), 3.0) == pytest.approx(1.0, abs=1e-9)
