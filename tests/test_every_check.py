"""Every check of the verdict has a part that trips it, and it alone; benchmarks has them all."""

from __future__ import annotations

from pathlib import Path

import pytest
import trimesh
from checks_tripped import PAGE, TRIPS, Trip, tripped

from shrinkrule import Printer, Recipe, compensate, demo_table, part_from_mesh

FIRST = {trip.check: trip for trip in reversed(TRIPS)}
QUICK = [trip for trip in FIRST.values() if trip.check not in {"sag", "size and mass", ""}]


def test_every_check_has_a_part_and_the_page_lists_them_all() -> None:
    recipe = Recipe(Printer.from_nozzle(0.6), demo_table()[1], look_at_sag=False)
    verdict = compensate(part_from_mesh(trimesh.creation.box((20, 20, 5))), recipe).verdict
    assert {check.name for check in verdict.checks} == {trip.check for trip in TRIPS} - {""}
    lines = Path(PAGE).read_text(encoding="utf-8").splitlines()
    for trip in TRIPS:
        begins = f"| {trip.check or 'none'} | {trip.part} | {trip.state.value} |"
        assert sum(line.startswith(begins) for line in lines) == 1


@pytest.mark.parametrize("trip", QUICK, ids=lambda trip: trip.check)
def test_each_part_trips_its_check_and_no_other(trip: Trip) -> None:
    assert tripped(trip) in Path(PAGE).read_text(encoding="utf-8")
