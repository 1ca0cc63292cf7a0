"""The energy correction: bricks are softer beside re-entrant edges, and nowhere else."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import trimesh

from sag.solids import bar, grid_of, united
from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.edges import edge_table
from shrinkrule.sag.voxels.fractions import fill_grid
from shrinkrule.sag.voxels.reentrant import edge_turns, stiffness_factors


def extruded(outline: list[tuple[float, float]], depth: float) -> trimesh.Trimesh:
    """A profile in x and z, drawn out along y from 0 to ``depth``."""
    from shapely.geometry import Polygon

    solid = trimesh.creation.extrude_polygon(Polygon(outline), depth)
    upright = np.array([[1, 0, 0, 0], [0, 0, 1, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=float)
    solid.apply_transform(upright)
    solid.fix_normals()
    return solid


def block_with_inner_edge(inside: float) -> trimesh.Trimesh:
    """A block whose faces meet along y at an angle of ``inside`` degrees in the material."""
    way = np.radians(270.0 - inside)
    x, z = 20.0 * np.cos(way), 20.0 * np.sin(way)
    return extruded([(-8, -4), (0, -4), (0, 0), (x, z), (x, 30), (-8, 30)], 5.0)


@pytest.mark.parametrize("inside", [200.0, 225.0, 270.0, 315.0])
def test_turn_at_the_inner_edge(inside: float) -> None:
    """Of all edges one turns inward, by the angle of the material beyond 180 degrees."""
    block = block_with_inner_edge(inside)
    vertices, facets = np.array(block.vertices), np.array(block.faces)
    pairs, turn = edge_turns(vertices, facets, edge_table(facets))
    ends = vertices[pairs]
    inner = np.flatnonzero(turn > 0.0)
    assert np.degrees(turn[inner]) == pytest.approx([inside - 180.0])
    assert np.sort(ends[inner[0], :, 1]) == pytest.approx([0.0, 5.0])
    assert ends[inner[0]][:, [0, 2]] == pytest.approx(np.zeros((2, 2)), abs=1e-12)


def factors_of(part: trimesh.Trimesh, brick: float) -> tuple[Floats, Floats]:
    """Octants' middles (n, 8, 3) in bricks, and the share of their stiffness they keep (n, 8)."""
    grid = grid_of(part, (brick, brick, brick))
    components = fill_grid(part, grid).components
    octants = 0.25 + 0.5 * np.array(list(np.ndindex(2, 2, 2)))
    return components.cells[:, None, :] + octants, components.stiffness


def test_convex_parts_are_not_corrected() -> None:
    _, factors = factors_of(bar((0, 0, 0), (9, 5, 4)), 1.0)
    assert factors.min() == 1.0


def test_only_a_brick_around_the_edge_is_corrected() -> None:
    """The middle of a long edge: half as much at the nearest octants, nothing a brick away."""
    part = extruded([(0, 0), (12, 0), (12, 6), (6, 6), (6, 12), (0, 12)], 10.0)
    place, factors = factors_of(part, 1.0)
    away = np.hypot(place[..., 0] - 6.0, place[..., 2] - 6.0)
    inside = np.abs(place[..., 1] - 5.0) < 3.0
    assert factors[away > 1.5].min() == 1.0
    assert factors[inside & (away < 0.4)].max() < 0.5
    assert np.ptp(factors[inside & (away < 0.4)]) < 1e-9


def test_a_low_step_is_hardly_corrected() -> None:
    """An inner edge with an outer one beside it is no notch: a step of a fifth of a brick."""
    low = extruded([(0, 0), (12, 0), (12, 6), (6, 6), (6, 6.2), (0, 6.2)], 10.0)
    high = extruded([(0, 0), (12, 0), (12, 6), (6, 6), (6, 12), (0, 12)], 10.0)
    assert 1.0 - factors_of(low, 1.0)[1].min() < 0.4 * (1.0 - factors_of(high, 1.0)[1].min())


def test_a_fine_fillet_counts_as_the_edge_it_rounds() -> None:
    """Ten facets round an inner edge of a sixth of a brick: the same as the sharp one, nearly."""
    sharp = [(0.0, 0.0), (12.0, 0.0), (12.0, 6.0), (6.0, 6.0), (6.0, 12.0), (0.0, 12.0)]
    arc = np.linspace(1.5 * np.pi, np.pi, 11)
    fillet = [(6.16 + 0.16 * np.cos(a), 6.16 + 0.16 * np.sin(a)) for a in arc]
    _, before = factors_of(extruded(sharp, 10.0), 1.0)
    _, after = factors_of(extruded([*sharp[:3], *fillet, *sharp[4:]], 10.0), 1.0)
    assert 1.0 - after.min() == pytest.approx(1.0 - before.min(), rel=0.1)


def test_no_edges_no_work() -> None:
    cells: Any = np.argwhere(np.ones((2, 2, 2)))
    assert stiffness_factors(cells, np.empty((0, 2, 3)), np.empty(0)).min() == 1.0


def test_a_dent_too_flat_is_not_corrected() -> None:
    """Edges that turn inward, but all of them by less than has an effect."""
    cells: Any = np.argwhere(np.ones((4, 4, 4)))
    ends = np.array([[[0.0, 2.0, 2.0], [4.0, 2.0, 2.0]]])
    assert stiffness_factors(cells, ends, np.array([2e-3])).min() == 1.0
    assert stiffness_factors(cells, ends, np.array([1.0])).min() < 0.7


def test_united_parts_count_as_one() -> None:
    """A post on a plate: the edges at its foot are corrected all the way round."""
    part = united(bar((0, 0, 0), (12, 12, 3)), bar((4, 4, 0), (8, 8, 9)))
    place, factors = factors_of(part, 1.0)
    foot = np.abs(place[..., 2] - 3.0) < 0.3
    for axis in (0, 1):
        across = np.abs(place[..., 1 - axis] - 6.0) < 1.0
        for edge in (4.0, 8.0):
            assert factors[foot & across & (np.abs(place[..., axis] - edge) < 0.3)].max() < 0.5
