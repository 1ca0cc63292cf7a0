"""What sag makes of fit, sizes and verdict: of the part that is written, and never a circle."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh

from sag.solids import bar, united
from shrinkrule import Estimate, Printer, Recipe, compensate, demo_table, part_from_mesh
from shrinkrule.furnace import CrucibleFurnace
from shrinkrule.job import Check, JobResult, State, room_of
from shrinkrule.sag import SagSettings

ROW = demo_table()[1]
COARSE = SagSettings(brick_mm=1.0)
"""Bricks for a part of a few walls: under a second."""


def table_top() -> trimesh.Trimesh:
    """A post with a plate that hangs over all round."""
    return united(bar((-3, -3, 0), (3, 3, 12)), bar((-14, -4, 12), (14, 4, 14)))


@cache
def made(recipe: Recipe) -> JobResult:
    return compensate(part_from_mesh(table_top()), recipe)


def recipe(modulus_kpa: float = 900.0, **choices: object) -> Recipe:
    row = replace(ROW, sag_modulus_kpa=Estimate(modulus_kpa, 0.12 * modulus_kpa, 8.0))
    return Recipe(Printer.from_nozzle(0.6), row, **choices)  # type: ignore[arg-type]


def check(result: JobResult, name: str) -> Check:
    (found,) = [check for check in result.verdict.checks if check.name == name]
    return found


def test_the_part_that_is_printed_must_fit_furnace_and_bed_curved_as_it_is() -> None:
    """Tips bent up stand higher than the straight part: a lid between is touched."""
    bent = made(recipe(sag=COARSE))
    straight, curved = (float(m.extents[2]) for m in (bent.green.mesh, bent.to_slice))
    assert curved > straight + 0.3
    lid = 0.5 * (straight + curved)
    low = CrucibleFurnace(80.0, lid + 4.0 + 20.0, 10.0, 10.0)
    result = made(recipe(sag=COARSE, furnace=low, bed_mm=(100.0, 100.0, lid)))
    assert result.furnace_fit is not None
    assert result.furnace_fit.spare_mm == pytest.approx(lid - curved, abs=1e-9)
    assert room_of(result).height_mm == pytest.approx(curved, abs=1e-9)
    (reason,) = check(result, "furnace").reasons
    assert reason.state is State.STOP
    assert "the green part is 0." in reason.text
    assert "mm too high" in reason.text
    assert check(result, "bed").state is State.STOP


def test_a_part_fired_another_way_up_than_printed_must_fit_as_it_lies() -> None:
    """Printed flat, fired on end: its length stands upright in the furnace."""
    on_end = SagSettings(furnace_up=(1.0, 0.0, 0.0))
    furnace = CrucibleFurnace(80.0, 30.0)
    result = made(recipe(lies=on_end, look_at_sag=False, furnace=furnace))
    assert result.furnace_fit is not None
    long = float(result.green.mesh.extents[0])
    assert result.furnace_fit.spare_mm == pytest.approx(26.0 - long, abs=1e-9)
    assert result.furnace_fit.tight == "height"


def test_a_part_that_spreads_while_hot_must_fit_fired_too() -> None:
    """Legs that slide apart, by a modulus so low that the fired part is the wider one."""
    legs = united(
        bar((0, 0, 0), (3, 6, 20)), bar((27, 0, 0), (30, 6, 20)), bar((0, 0, 18), (30, 6, 20))
    )
    result = compensate(part_from_mesh(legs), recipe(90.0, furnace=CrucibleFurnace(50.0, 60.0)))
    field = result.sag_look.estimate
    assert field is not None
    assert field.field is not None
    corners = np.asarray(legs.vertices)
    fired = corners + field.field.at(corners)
    assert np.ptp(fired[:, 0]) > float(result.green.mesh.extents[0])
    assert result.furnace_fit is not None
    assert result.furnace_fit.stage == "fired"
    room = room_of(result)
    assert 2.0 * room.reach_mm[0] == pytest.approx(np.ptp(fired[:, 0]), abs=1e-6)
