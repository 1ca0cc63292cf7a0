"""Which shells of a part are one body, against every vertex measured to every other shell."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh

from shrinkrule.sag.bodies import body_of_vertices
from shrinkrule.sag.settings import TOUCHING_MM


def _cube(*at: float, edge: float = 2.0) -> trimesh.Trimesh:
    cube = trimesh.creation.box((edge, edge, edge))
    cube.apply_translation(at)
    return cube


@pytest.mark.parametrize(("gap", "bodies"), [(0.8, 1), (1.2, 2)])
@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("small_first", [False, True])
def test_a_small_cube_touches_the_middle_of_a_face_within_the_tolerance(
    gap: float, bodies: int, axis: int, small_first: bool
) -> None:
    # Only the small cube has vertices on the other: either order has to see it.
    at = np.zeros(3)
    at[axis] = 6.0 + gap * TOUCHING_MM
    pair = [_cube(0.0, 0.0, 0.0, edge=10.0), _cube(*at)]
    mesh = trimesh.util.concatenate(pair[::-1] if small_first else pair)
    assert body_of_vertices(mesh).max() + 1 == bodies


def test_many_shells_are_joined_as_by_measuring_all_of_them() -> None:
    random = np.random.default_rng(5)
    balls = []
    for _ in range(40):
        ball = trimesh.creation.icosphere(subdivisions=1, radius=random.uniform(0.5, 1.0))
        ball.apply_translation(random.uniform(0.0, 5.0, 3))
        balls.append(ball)
    cubes = [_cube(20.0, 0.0, 2.0 * i) for i in range(4)]
    shells = [*balls, *cubes]
    mesh = trimesh.util.concatenate(shells)
    # Facets and vertices in any order, as files hold them.
    place = random.permutation(len(mesh.vertices))
    number = np.argsort(place)
    faces = random.permutation(number[mesh.faces])
    mixed = trimesh.Trimesh(mesh.vertices[place], faces, process=False)
    of_vertex = np.repeat(np.arange(len(shells)), [len(one.vertices) for one in shells])[place]
    group = np.arange(len(shells))
    for one in range(len(shells)):
        for other in range(len(shells)):
            squared, _, _ = igl.point_mesh_squared_distance(
                np.asarray(shells[one].vertices),
                np.asarray(shells[other].vertices),
                np.asarray(shells[other].faces),
            )
            if squared.min() <= TOUCHING_MM**2:
                group[group == group[one]] = group[other]
    found = body_of_vertices(mixed)
    same = found[:, None] == found[None]
    wanted = group[of_vertex]
    assert np.array_equal(same, wanted[:, None] == wanted[None])
    assert 4 < len(np.unique(group)) < len(shells) - 3
