"""A fragment in copies of a column's nodes is not joined to the column."""

from __future__ import annotations

import numpy as np

from shrinkrule.sag.voxels.components import Components
from shrinkrule.sag.voxels.fragments import without_isolated_fragments


def test_a_fragment_in_phantom_nodes_is_left_out_beside_the_column_that_shares_its_brick() -> None:
    """Six bricks on end, and half a brick in the third of them whose eight nodes are copies."""
    column = np.array([[0, 0, height] for height in range(6)])
    cells = np.concatenate([column, [[0, 0, 2]]])
    octants = np.ones((7, 8))
    octants[6] = 0.5
    phantom = np.zeros((7, 8), dtype=np.int64)
    phantom[6] = 1
    points = np.arange(21.0).reshape(7, 3)
    found = without_isolated_fragments(
        Components(cells, octants, phantom, np.ones(7), points, np.arange(7)), bodies=1
    )
    assert np.array_equal(found.cells, column)
    assert np.array_equal(found.points, points[:6])
