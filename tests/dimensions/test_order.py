"""Dimensions are the same in whatever order a file lists its facets, and wherever each begins."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from approved.small import mesh
from dimensions.solids import found_on


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
