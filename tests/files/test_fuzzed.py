"""Damaged files for every reader, from kept seeds: nothing but our own error comes out.

``benchmarks/fuzz.py`` is the harness; docs/results-fuzz.md has the long runs and what they found.
"""

from __future__ import annotations

import math
import random
from pathlib import Path

import fuzz
import pytest

FILES = 120
"""Changed files for each reader: under a second."""


@pytest.mark.parametrize("target", sorted(fuzz.TARGETS))
def test_nothing_but_our_error_comes_out(
    target: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fuzz, "_PLACE", tmp_path)
    seeds, rng = fuzz.seeds_of(target), random.Random(target)
    for seed in seeds:
        assert not fuzz.read_once(target, seed, math.inf)
    refused = sum(fuzz.read_once(target, fuzz.changed(seeds, rng), math.inf) for _ in range(FILES))
    assert 0 < refused <= FILES


def test_utf_16_cut_in_a_letter_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fuzz, "_PLACE", tmp_path)
    assert fuzz.read_once("table", fuzz.seeds_of("table")[1][:-1], math.inf)


def test_a_crack_is_not_closed_by_losing_all_facets(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Far from the origin single precision is coarse: three corners of one facet are a crack."""
    monkeypatch.setattr(fuzz, "_PLACE", tmp_path)
    text = "solid\nfacet normal 0 0 1\nouter loop\n{}endloop\nendfacet\nendsolid\n"
    corners = ((9e5, 9e5, 0.0), (900000.0625, 9e5, 0.0), (9e5, 900000.0625, 0.0))
    loop = "".join("vertex {} {} {}\n".format(*corner) for corner in corners)
    assert not fuzz.read_once("stl", text.format(loop).encode(), math.inf)
