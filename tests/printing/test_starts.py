"""What leads down below a place that begins in the air, against a search over the whole part."""

from __future__ import annotations

import numpy as np
import trimesh

from shrinkrule.numerics.arrays import connected_components
from shrinkrule.printing.starts import _LEVEL, _Below
from shrinkrule.printing.surface import PrintSurface


def meets_lower(surface: PrintSurface, vertex: int) -> bool:
    """Whether the surface less than a layer above a vertex leads down below it: all edges asked."""
    heights, ends = surface.points[:, 2], surface.edges.ends
    lower = heights < heights[vertex] - _LEVEL
    within = ~lower & (heights < heights[vertex] + surface.layer_mm)
    label = connected_components(len(heights), ends[within[ends].all(axis=1)])
    own = within & (label == label[vertex])
    return bool(own[ends[lower[ends].any(axis=1)]].any())


def test_what_leads_down_is_found_as_by_asking_all_edges() -> None:
    random = np.random.default_rng(3)
    rough = trimesh.creation.icosphere(3, 4.0)
    rough.vertices += random.normal(0.0, 0.3, rough.vertices.shape)
    balls = [rough]
    for height in (5.0, 5.0, 5.05, 9.0):
        ball = trimesh.creation.icosphere(2, 1.0)
        ball.apply_translation((*random.uniform(5.0, 20.0, 2), height))
        balls.append(ball)
    mesh = trimesh.util.concatenate(balls)
    surface = PrintSurface(mesh, 0.1)
    below = _Below(surface)
    found = np.array([below.reaches(vertex) for vertex in range(len(mesh.vertices))])
    expected = np.array([meets_lower(surface, vertex) for vertex in range(len(mesh.vertices))])
    assert (found == expected).all()
    # Dents of the rough one, and the lowest of each, do not.
    assert 8 < (~expected).sum() < 0.2 * len(expected)
