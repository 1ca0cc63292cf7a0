"""Bricks hold a part's volume, however little memory there is for a slab of them."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule.sag.voxels.fractions import fill_bricks


@pytest.mark.parametrize("slab_bytes", [1, 3_000, 2**30])
@pytest.mark.parametrize("counts", [(7, 4, 3), (3, 7, 4), (4, 3, 7)])
def test_bricks_are_as_full_as_the_box_that_lies_in_them(
    counts: tuple[int, int, int], slab_bytes: int
) -> None:
    """Fraction of each brick by the overlaps of its sides with those of the box.

    The box ends in the middle of bricks across the scan lines, where their rule is exact.
    """
    size = np.array([1.0, 0.8, 1.25])
    low = np.array([0.3, 0.4, 0.25])
    high = size * counts - [0.2, 0.4, 0.75]
    box = trimesh.creation.box(bounds=[low, high])
    found = fill_bricks(
        np.asarray(box.triangles), size, np.array(counts), 1e-6, slab_bytes
    ).components
    sides = []
    for axis, count in enumerate(counts):
        start = size[axis] * np.arange(count)
        covered = np.minimum(start + size[axis], high[axis]) - np.maximum(start, low[axis])
        sides.append(np.maximum(covered, 0.0) / size[axis])
    expected = sides[0][:, None, None] * sides[1][None, :, None] * sides[2]
    filled = np.zeros(counts)
    filled[tuple(found.cells.T)] = found.octants.mean(axis=1)
    assert filled == pytest.approx(expected, abs=1e-9)
