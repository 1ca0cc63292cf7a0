"""Thin places reported as what they are, on parts of a second generator that knows only the docs.

Rims of every shape, wires and nets at every lean, curved sheets, skins over bores, wedges and
threads, each with its truth from a formula or from brute-force balls; and as many sound parts
that hold all that may be mistaken for one. `benchmarks/walls_places.py` runs 600 of each.
"""

from __future__ import annotations

import pytest

from seeds import many_seeds
from shrinkrule.printer import Printer
from shrinkrule.walls import check_walls
from walls.places.generate import planted_part, sound_part
from walls.places.judge import faults
from walls.places.part import PlacedPart

PARTS = 32
"""With a thin place: every planted family once; the longest only where many are asked for."""

SOUND = 32 if many_seeds() else 16
"""Without one."""

IN_A_GO = 8

QUICKER = {1: 33, 6: 102, 7: 39, 8: 72, 12: 44, 14: 46, 17: 81, 18: 114, 22: 54, 31: 63}
"""Seeds of families whose first part is large, and of one that takes a half to a tenth."""

LONGEST = 24
"""A periodic sheet of 46 000 facets, which takes as long as all other families together."""


def planted_seeds(first: int) -> list[int]:
    seeds = range(first, first + IN_A_GO)
    if many_seeds():
        return list(seeds)
    return [QUICKER.get(seed, seed) for seed in seeds if seed != LONGEST]


def faults_of(part: PlacedPart) -> list[str]:
    printer = Printer(part.nozzle_mm, part.bead_mm, part.layer_mm)
    found = check_walls(part.mesh, printer).findings
    name = f"{part.family} {part.seed} ({part.description})"
    return [f"{name}: {fault}" for fault in faults(part, [finding.as_dict() for finding in found])]


@pytest.mark.parametrize("first", range(0, PARTS, IN_A_GO))
def test_planted_places_are_reported_as_what_they_are(first: int) -> None:
    parts = (planted_part(seed) for seed in planted_seeds(first))
    wrong = [fault for part in parts for fault in faults_of(part)]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("first", range(0, SOUND, IN_A_GO))
def test_sound_parts_have_no_thin_place(first: int) -> None:
    parts = (sound_part(seed) for seed in range(first, first + IN_A_GO))
    wrong = [fault for part in parts for fault in faults_of(part)]
    assert not wrong, "\n".join(wrong)
