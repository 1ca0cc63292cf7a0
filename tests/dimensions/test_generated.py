"""Dimensions of generated parts, whose truth is known by construction.

The generator (`benchmarks/dimension_parts`) was written without sight of the code it tests;
`benchmarks/dimensions_found.py` runs 200 parts.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from dimensions_found import scored


@pytest.mark.parametrize("first", range(1, 41, 8))
def test_what_is_planted_is_found_and_nothing_is_invented(first: int, tmp_path: Path) -> None:
    """Eight parts of all nine families in turn: turned, text files, T-joints, slivers."""
    results = [scored(seed, tmp_path) for seed in range(first, first + 8)]
    assert sum(r.planted for r in results) > 100
    assert [(r.part.seed, r.missed) for r in results if r.missed] == []
    assert [(r.part.seed, r.invented) for r in results if r.invented] == []


@pytest.mark.parametrize("seed", [1009, 1088, 1198, 1261, 1348])
def test_parts_once_measured_wrongly_stay_right(seed: int, tmp_path: Path) -> None:
    """One for each cause: a step under a roof, few rounded values, a short wall between rounds, a
    keyway in a round of 12 facets, a sliver of metal beside a pocket."""
    one = scored(seed, tmp_path)
    assert one.missed == ()
    assert one.invented == ()


def test_the_score_notices_what_is_missing_and_what_is_wrong() -> None:
    """The judge itself: without its list a part misses all; of sizes 1 % off, nearly all."""
    from dimension_parts import make_part, score

    part = make_part(3)
    missed, invented = score(part, [])
    assert len(missed) == len(part.dimensions)
    assert not invented
    rows = [
        {"kind": d.kind, "value_mm": 1.01 * d.value_mm, "direction": d.direction}
        for d in part.dimensions
    ]
    missed, invented = score(part, rows)
    assert len(invented) > 0.8 * len(rows)
