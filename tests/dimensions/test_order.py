"""Dimensions are the same in whatever order a file lists its facets, and wherever each begins."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from approved.small import mesh
from dimensions.solids import found_on
from shrinkrule.dimensions.dimension import Kind, distinct


@pytest.mark.parametrize("name", ["bracket", "shaft"])
def test_the_order_of_facets_changes_no_dimension(name: str) -> None:
    made, told = mesh(name), []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        order = rng.permutation(len(made.faces)) if seed else np.arange(len(made.faces))
        faces = [np.roll(f, rng.integers(3)) for f in np.asarray(made.faces)[order]]
        found = found_on(trimesh.Trimesh(made.vertices, np.array(faces), process=False))
        told.append(
            sorted((one.kind.value, round(one.size_mm, 6), one.places) for one in found.every)
        )
    assert all(other == told[0] for other in told)


@pytest.mark.parametrize("noise", [-1e-12, 1e-12])
@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_of_dimensions_alike_the_first_in_place_is_told(
    noise: float, order: tuple[int, int]
) -> None:
    """However the last digits of length and weight fall; what is heavier goes before."""
    sizes, weights = np.array([1.0, 1.0 + noise]), np.array([6.0 - noise, 6.0])
    places = np.array([[0.0, 0.0, 10.5], [0.0, 0.0, 3.0]])
    ways, at = np.tile([0.0, 0.0, 1.0], (2, 1)), list(order)
    (one,) = distinct(Kind.STEP, sizes[at], ways, places[at], weights[at], 1e-3)
    assert one.place == (0.0, 0.0, 3.0)
    weights[0] += 1.0
    (one,) = distinct(Kind.STEP, sizes[at], ways, places[at], weights[at], 1e-3)
    assert one.place == (0.0, 0.0, 10.5)
