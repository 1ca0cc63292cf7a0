"""The order in which a file lists facets, and where it begins each, decides no dimension."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from approved.small import mesh
from shrinkrule import Part, find_dimensions, part_from_mesh


def shuffled(name: str, seed: int) -> Part:
    """The part with its vertices and facets in another order, each facet from another corner."""
    rng = np.random.default_rng(seed)
    made = mesh(name)
    vertices, facets = np.asarray(made.vertices), np.asarray(made.faces)
    to = rng.permutation(len(vertices))
    facets = to[facets][rng.permutation(len(facets))]
    corner = (np.arange(3) + rng.integers(3, size=(len(facets), 1))) % 3
    facets = np.take_along_axis(facets, corner, axis=1)
    return part_from_mesh(trimesh.Trimesh(vertices[np.argsort(to)], facets, process=False))


@pytest.mark.parametrize("name", ["bracket", "bridge", "made4", "shaft", "tilted", "two", "wedge"])
def test_every_dimension_and_its_place_are_the_same(name: str) -> None:
    """In the same order, to rounding; `tilted` has a width that one ray in a hundred finds."""
    wanted = find_dimensions(part_from_mesh(mesh(name))).every
    for seed in range(3):
        found = find_dimensions(shuffled(name, seed)).every
        assert [(one.kind, one.places) for one in found] == [
            (one.kind, one.places) for one in wanted
        ]
        for of in ("size_mm", "direction", "place", "weight"):
            now, before = (np.array([getattr(one, of) for one in some]) for some in (found, wanted))
            assert now == pytest.approx(before, abs=1e-6), of
