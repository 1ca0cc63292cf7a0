"""Compiled loops: they number as whole-array steps would, and run where nothing can be kept."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.hashing import number_equal
from shrinkrule.numerics.jit import compiled


@settings(deadline=None)  # the first example may have to compile
@given(
    rows=arrays.arrays(
        np.uint32, arrays.array_shapes(min_dims=2, max_dims=2), elements=st.integers(0, 3)
    )
)
def test_equal_rows_share_a_number_in_order_of_first_use(
    rows: np.ndarray[tuple[int, int], np.dtype[np.uint32]],
) -> None:
    first, numbers = number_equal(rows)
    np.testing.assert_array_equal(rows[first][numbers], rows)
    assert len(np.unique(rows, axis=0)) == len(first)
    assert (np.diff(first) > 0).all()
    np.testing.assert_array_equal(numbers[first], np.arange(len(first)))


def test_the_table_grows_with_what_is_found() -> None:
    """Two thousand different rows start in a table of 1024 places."""
    rows = np.arange(6000, dtype=np.uint64).reshape(-1, 3)
    _, numbers = number_equal(np.concatenate([rows, rows[::-1]]))
    np.testing.assert_array_equal(numbers, np.r_[np.arange(2000), np.arange(2000)[::-1]])


def labels_of(pairs: np.ndarray, count: int) -> np.ndarray:
    graph = coo_array((np.ones(len(pairs)), tuple(pairs.T)), shape=(count, count))
    _, labels = connected_components(graph, directed=False)
    return np.asarray(labels)


@settings(deadline=None)  # the first example may have to compile
@given(
    facets=arrays.arrays(
        np.int64, st.tuples(st.integers(1, 30), st.just(3)), elements=st.integers(0, 8)
    )
)
def test_edges_and_bodies_of_any_facets(
    facets: np.ndarray[tuple[int, int], np.dtype[np.int64]],
) -> None:
    table = edge_table(facets)
    start, end = facets.ravel(), facets[:, [1, 2, 0]].ravel()
    pairs = np.column_stack([np.minimum(start, end), np.maximum(start, end)])
    np.testing.assert_array_equal(table.ends[table.edge_of], pairs)
    assert len(np.unique(pairs, axis=0)) == len(table.ends)
    np.testing.assert_array_equal(table.uses, np.bincount(table.edge_of))
    signs = np.where(start < end, 1.0, -1.0)
    np.testing.assert_array_equal(table.balance, np.bincount(table.edge_of, signs))
    sides = [np.flatnonzero(table.edge_of == e) // 3 for e in np.flatnonzero(table.uses == 2)]
    labels = labels_of(np.array(sides, dtype=np.int64).reshape(-1, 2), len(facets))
    # Those that leave an edge of many facets open, each by itself, are one.
    more = []
    for edge in np.flatnonzero(table.uses > 2):
        mine = np.flatnonzero(table.edge_of == edge)
        ways = {b: signs[mine[labels[mine // 3] == b]].sum() for b in set(labels[mine // 3])}
        unbalanced = [np.flatnonzero(labels == body)[0] for body, way in ways.items() if way]
        more += list(itertools.pairwise(unbalanced))
    every = [*sides, *more]
    labels = labels_of(np.array(every, dtype=np.int64).reshape(-1, 2), len(facets))
    np.testing.assert_array_equal(table.bodies, labels)


def test_a_fan_of_any_size_is_searched_from_its_rim() -> None:
    """A cone of 300 000 facets at one tip: in lists at the tip it would take hours."""
    cone = trimesh.creation.cone(1.0, 1.0, sections=300_000)
    assert (edge_table(np.asarray(cone.faces)).uses == 2).all()


def test_where_nothing_can_be_kept_it_is_compiled_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refuse(locator: object) -> None:
        raise PermissionError("read-only")

    monkeypatch.setattr("numba.core.caching._CacheLocator.ensure_cache_path", refuse)

    @compiled
    def twice(value: int) -> int:
        return 2 * value

    assert twice(21) == 42
