"""A refused offset says where."""

from __future__ import annotations

import re

import numpy as np
import pytest
import trimesh

from shrinkrule.compensation import offset_outlines
from shrinkrule.errors import MeshError


def place_in(error: MeshError) -> np.ndarray:
    found = re.search(r"x (-?[\d.]+), y (-?[\d.]+), z (-?[\d.]+) mm of the green part", str(error))
    assert found is not None
    return np.array([float(each) for each in found.groups()])


def test_the_corner_that_cannot_move_is_named() -> None:
    """Two blocks that meet along one upright edge, at x = y = 2.5, pull it two ways."""
    beside = trimesh.creation.box((5, 5, 5)).apply_translation((5, 5, 0))
    both = trimesh.util.concatenate([trimesh.creation.box((5, 5, 5)), beside])
    both.merge_vertices()
    with pytest.raises(MeshError, match="cannot all move") as caught:
        offset_outlines(both, -0.1)
    x, y, z = place_in(caught.value)
    assert (x, y, abs(z)) == (2.5, 2.5, 2.5)


def test_the_detail_that_is_too_fine_is_named() -> None:
    """A sheet of 0.3 mm beside a block of 10 mm: the sheet is where it folds."""
    sheet = trimesh.creation.box((0.3, 10, 5)).apply_translation((20, 0, 0))
    both = trimesh.util.concatenate([trimesh.creation.box((10, 10, 5)), sheet])
    with pytest.raises(MeshError, match="finer than the outline offset") as caught:
        offset_outlines(both, -0.2)
    assert place_in(caught.value)[0] == pytest.approx(20.0, abs=0.2)
