"""Which pairs of surfaces are walls, and from how few facets a round is looked for."""

from __future__ import annotations

import numpy as np
import trimesh

from shrinkrule.dimensions.across import Opposite
from shrinkrule.dimensions.lengths import LEAST_METAL, _walls
from shrinkrule.dimensions.recognition.creases import creases_of
from shrinkrule.dimensions.recognition.regions import flat_regions
from shrinkrule.dimensions.recognition.surface import surface_of
from shrinkrule.dimensions.recognition.zigzag import FEWEST, patches


def test_a_pair_with_more_gaps_than_metal_is_no_wall() -> None:
    """Each pair meets its own gaps, wherever these stand in the list."""
    solid = np.array([[0, 1], [2, 3], [4, 5], [1, 4], [0, 5]])
    broken = np.array([[4, 5], [0, 1], [2, 3], [3, 3]])
    none, points = np.empty((0, 2), dtype=np.int64), np.zeros((5, 3))
    gaps = np.array([9.0, 9.0, 0.1, 5.0])
    pairs = Opposite(
        solid, points, np.ones(5), none, points[:0], np.empty(0), broken, points[:4], gaps,
        np.full(6, np.inf), np.zeros((6, 3)),
    )  # fmt: skip
    expected = [LEAST_METAL * (1.0 + gap) <= 1.0 for gap in (9.0, 0.1, 9.0, 0.0, 0.0)]
    assert expected == [False, True, False, True, True]
    assert _walls(pairs).tolist() == expected


def strip(facets: int) -> trimesh.Trimesh:
    """Facets that run to and fro between two rings of corners that do not face each other."""
    turn = 0.35 * np.arange(facets // 2 + 2)
    low = np.column_stack([2 * np.cos(turn), 2 * np.sin(turn), 0 * turn])
    high = np.column_stack([2 * np.cos(turn + 0.15), 2 * np.sin(turn + 0.15), 0 * turn + 5.0])
    n = len(turn)
    every = [f for k in range(n - 1) for f in ([k, k + 1, n + k], [k + 1, n + k + 1, n + k])]
    return trimesh.Trimesh(np.vstack([low, high]), every[:facets], process=False)


def test_a_dozen_facets_to_and_fro_may_be_a_round_and_eleven_are_none() -> None:
    for facets in (FEWEST - 1, FEWEST):
        surface = surface_of(strip(facets), 1e-6)
        regions = flat_regions(surface)
        assert len(regions) == facets
        none = np.zeros(facets, dtype=np.bool_)
        found = patches(regions, creases_of(surface, regions), none)
        assert [len(mine) for mine, _ in found] == ([facets] if facets == FEWEST else [])
