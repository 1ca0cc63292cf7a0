"""How many bricks lie along an axis: as few as fit, or more where planes then lie between them."""

from __future__ import annotations

import numpy as np
import pytest

from shrinkrule.numerics.arrays import Floats
from shrinkrule.sag.voxels.grid import _fitting_count


def naive(positions: Floats, areas: Floats, extent: float, brick: float, slack: float) -> int:
    """Least sum of misfits beyond a hundredth of a brick, and 2 % for a share of bricks more."""
    fewest = int(np.ceil(extent / brick))
    costs = {}
    for count in range(fewest, int(fewest * slack) + 1):
        side, cost = extent / count, 0.0
        for at, area in zip(positions, areas, strict=True):
            off = min(abs(at - k * side) for k in range(count + 1)) / brick
            cost += area * max(off - 0.01, 0.0)
        costs[count] = cost / areas.sum() + 0.02 * (count - fewest) / fewest
    return min(costs, key=lambda count: costs[count])


@pytest.mark.parametrize("seed", range(4))
def test_bricks_end_at_planes_where_few_more_of_them_do(seed: int) -> None:
    rng = np.random.default_rng(seed)
    chosen = set()
    for _ in range(60):
        extent, brick = float(rng.uniform(9.0, 30.0)), float(rng.uniform(0.7, 2.0))
        planes = rng.uniform(0.0, extent, int(rng.integers(1, 4)))
        areas = rng.uniform(1.0, 50.0, len(planes))
        found = _fitting_count(planes, areas, extent, brick, 1.3)
        assert found == naive(planes, areas, extent, brick, 1.3)
        chosen.add(found - int(np.ceil(extent / brick)))
    assert {0, 1, 2} <= chosen
    assert _fitting_count(np.empty(0), np.empty(0), 10.2, 1.0, 1.3) == 11
