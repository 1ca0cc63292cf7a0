"""Quick splitting keeps a surface whole, whatever shape its facets get."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from shrinkrule.mesh.refine import split_where


@pytest.mark.parametrize(
    "part",
    [
        trimesh.creation.box((40.0, 20.0, 2.0)),
        trimesh.creation.annulus(5.0, 20.0, 2.0, sections=48),
        trimesh.creation.cylinder(3.0, 40.0, sections=64),
        trimesh.creation.icosphere(2, 10.0),
    ],
    ids=["box", "ring", "rod", "ball"],
)
@pytest.mark.parametrize("longest", [5.0, 1.0])
def test_split_parts_are_sound_and_unchanged(part: trimesh.Trimesh, longest: float) -> None:
    def near_the_middle(ends: NDArray[np.float64]) -> NDArray[np.bool_]:
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        wanted: NDArray[np.bool_] = (length > longest) & (np.abs(ends[:, :, 0]).min(axis=1) < 4.0)
        return wanted

    fine = split_where(part, near_the_middle)
    assert not near_the_middle(fine.vertices[fine.edges_unique]).any()
    assert fine.is_watertight
    assert fine.is_winding_consistent
    assert fine.volume == pytest.approx(part.volume, rel=1e-9)
    assert fine.area == pytest.approx(part.area, rel=1e-9)
    assert np.array_equal(fine.vertices[: len(part.vertices)], part.vertices)
