"""What sag makes of fit, sizes and verdict: of the part that is written, and never a circle."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import trimesh
from rich.console import Console

from sag.solids import bar, united
from shrinkrule import Estimate, Printer, Recipe, compensate, demo_table, part_from_mesh
from shrinkrule.cli.compensate import _sag_flags
from shrinkrule.cli.options import FLAGS
from shrinkrule.dimensions import Kind
from shrinkrule.errors import Option
from shrinkrule.furnace import CrucibleFurnace
from shrinkrule.job import Check, JobResult, SagLook, State, Verdict, room_of
from shrinkrule.job.sag_look import _limit_mm
from shrinkrule.job.verdict import _sag
from shrinkrule.mesh.closing import Closed
from shrinkrule.physics.interval import Interval
from shrinkrule.report import show_job
from shrinkrule.report.html import job_html
from shrinkrule.report.plain import job_dict
from shrinkrule.report.sag.words import sag_text
from shrinkrule.report.words import fired_text
from shrinkrule.sag import SagSettings
from shrinkrule.traveler.page import _part as travel_part
from shrinkrule.units import rounded_up

ROW = demo_table()[1]
FILES = {"green_stl": Path("a.green.stl"), "json": Path("a.json"), "html": Path("a.html")}
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


SOFT = 150.0
"""kPa: tips of 11 mm come down by twice their thickness."""


@pytest.mark.parametrize("sag", [COARSE, None], ids=["taken off", "estimated"])
def test_a_part_that_sags_beyond_the_model_is_stopped_once_and_promised_nothing(
    sag: SagSettings | None,
) -> None:
    """One line with the way up that holds, no allowance, no size, no class, and no fine sizes."""
    result = made(recipe(SOFT, sag=sag))
    assert np.allclose(result.to_slice.extents, result.green.mesh.extents)
    (stop,) = (r for r in check(result, "sag").reasons if r.state is State.STOP)
    assert "lay it with -z up, where it sags by" in stop.text
    assert "another way up" not in stop.text
    others = " ".join(r.text for r in check(result, "sag").reasons if r is not stop)
    assert "linear model" not in others
    assert "degrees" not in others
    for size in result.prediction.sizes:
        assert np.isnan(size.fired_mm.value)
        assert size.fired_mm.half95 is None
        assert fired_text(size.fired_mm) == "not promised"
        assert (size.iso286, size.iso2768) == ("", "")
    for one in result.promised:
        assert fired_text(one.worst.fired_mm) == "not promised"
        assert (one.iso286, one.iso2768) == ("", "")
    assert check(result, "fired sizes").state is State.NOT_LOOKED_AT
    assert "not promised" in check(result, "fired sizes").skipped
    told = job_dict(result, FILES)
    assert [size["fired_mm"]["value"] for size in told["prediction"]["sizes"]] == [None] * 3


def test_a_strain_beyond_a_tenth_gets_no_allowance() -> None:
    """Half the modulus, twice the strain: over the limit of docs/theory-sag.md it slumps."""
    result = made(recipe(60.0, sag=COARSE))
    assert result.sag is not None
    assert result.sag.before.slumps
    assert result.sag.rounds == 0
    assert "it slumps this way up" in result.verdict.reasons[0].text


def test_what_the_modulus_leaves_unsure_is_said_in_mm_where_it_matters() -> None:
    """A factor of 1.319 either way by 12 % and 8 degrees of freedom leaves a third of 0.7 mm."""
    result = made(recipe(sag=COARSE))
    assert result.sag is not None
    sag = result.sag
    reach = float(np.linalg.norm(sag.before.displacement, axis=1).max())
    by_hand = np.hypot((np.exp(2.306 * 0.12) - 1.0) * reach, sag.before.numerical_mm)
    assert sag.unsure_mm == pytest.approx(by_hand, rel=1e-3)
    (reason,) = (r for r in check(result, "sag").reasons if "may still be" in r.text)
    assert f"may still be {rounded_up(by_hand)} mm off" in reason.text
    assert "lay it with -z up" in reason.text
    assert reason.state is State.LOOK
    assert "%" not in sag_text(sag).partition("pre-curved")[2]
    assert f"{sag.sag_before_mm * (np.exp(2.306 * 0.12) - 1.0):+.2f} mm" in sag_text(sag)


def test_a_sag_below_the_tolerance_is_no_alarm_and_the_way_up_that_is_set_no_advice() -> None:
    """Laid as advised, the tips stand on the setter: nothing is left to say."""
    look = made(recipe()).sag_look
    assert look.better is not None
    assert look.better.name == "-z"
    laid = made(recipe(print_up="-z"))
    assert laid.sag_look.better is None
    assert check(laid, "sag").state is State.FINE
    assert laid.sag_look.estimate is not None
    tiny = replace(laid.sag_look.estimate, sag_mm=0.019, numerical_mm=0.03)
    assert not replace(laid.sag_look, estimate=tiny).matters
    sizes = laid.prediction.sizes
    for half, limit in ((0.03, 0.02), (0.15, 0.05), (3.0, 0.1)):
        known = tuple(replace(s, fired_mm=Interval(s.fired_mm.value, half)) for s in sizes)
        assert _limit_mm(replace(laid.prediction, sizes=known), SagSettings()) == pytest.approx(
            limit
        )
    now = replace(look, furnace_up=(0.0, 0.0, -2.0))
    assert now.better is None or now.better.name != "-z"


@pytest.mark.parametrize(
    ("sag_mm", "error_mm", "said"),
    [
        (0.17, 0.46, "not known well enough by the quick estimate, 0.17 mm and up to 0.63 mm"),
        (0.015, 0.3, "not known well enough"),
        (0.17, 0.02, "mm as it stands (quick estimate, 95 %), at x"),
    ],
)
def test_an_alarm_is_a_whole_sentence_and_never_within_its_own_error(
    sag_mm: float, error_mm: float, said: str
) -> None:
    look = made(recipe()).sag_look
    assert look.estimate is not None
    alone = replace(look.estimate, sag_mm=sag_mm, numerical_mm=error_mm)
    (reason,) = _sag(replace(look, estimate=alone, ways=())).reasons
    assert said in reason.text
    assert "; or" not in reason.text
    sure = error_mm < sag_mm
    assert reason.text.endswith("; take it off beforehand") is sure
    assert ("solves it on finer bricks" in reason.text) is not sure


def test_layers_volume_and_heights_are_those_of_the_mesh_that_is_written() -> None:
    """Height and volume of the file, its layers, and one size in both tables."""
    result = made(recipe(sag=COARSE))
    told, mesh = result.prediction, result.to_slice
    assert told.green_volume_mm3 == pytest.approx(mesh.volume, rel=1e-9)
    assert abs(mesh.volume / result.green.mesh.volume - 1.0) > 1e-4
    heights = result.recipe.made.heights
    assert heights is not None
    assert told.layers is not None
    assert told.layers.count == heights.count(float(mesh.extents[2]))
    assert told.layers.whole_mm == ()
    z = told.sizes[2]
    assert z.green_mm == pytest.approx(mesh.extents[2], abs=1e-9)
    (overall,) = (
        one.worst
        for one in result.promised
        if one.dimension.kind is Kind.OVERALL and one.worst.along == "Z"
    )
    assert overall.fired_mm.value == pytest.approx(z.fired_mm.value, abs=1e-6)
    assert overall.fired_mm.half95 == pytest.approx(z.fired_mm.half95, rel=1e-6)
    # What rounding the curved height to layers adds to it, fired, and nothing else.
    rounding = heights.printed_mm(float(mesh.extents[2])) - float(mesh.extents[2])
    kept = 1.0 - result.recipe.row.shrinkage_z.value  # type: ignore[union-attr]
    left = float(np.ptp(result.sag.fired[:, 2])) - 14.0  # type: ignore[union-attr]
    assert z.fired_mm.value - 14.0 == pytest.approx(rounding * kept + left, abs=0.01)


def test_green_of_a_mesh_and_green_of_a_caliper_have_names_of_their_own() -> None:
    """A printer 0.1 % off makes the two differ; no heading is shared by both."""
    off = Estimate(0.002, 0.0001, 8.0)
    row = replace(ROW, print_scale_x=off, print_scale_y=off, print_scale_z=off)
    part = part_from_mesh(trimesh.creation.box((30, 20, 5)))
    result = compensate(part, Recipe(Printer.from_nozzle(0.6), row, look_at_sag=False))
    mesh = result.prediction.sizes[0].green_mm
    (read,) = (one.worst.green_mm for one in result.promised if one.worst.along == "X")
    assert read == pytest.approx(1.002 * mesh, rel=1e-6)
    page = job_html(result, FILES)
    heads = re.findall(r'<th class="n">(green[^<]*)</th>', page)
    assert "green mesh, mm" in heads
    assert "green, measured, mm" in heads
    assert screen_of(result).count("green mesh") == 1


def screen_of(result: JobResult) -> str:
    console = Console(record=True, width=100, file=io.StringIO())
    show_job(result, FILES, console)
    return console.export_text()


def test_what_is_not_to_be_made_is_not_to_be_sliced() -> None:
    fine = made(recipe(look_at_sag=False))
    low = made(recipe(look_at_sag=False, furnace=CrucibleFurnace(80.0, 15.0)))
    assert "slice a.green.stl" in screen_of(fine)
    assert "to slice" in job_html(fine, FILES)
    assert "a.green.stl" in screen_of(low)
    assert "slice a.green.stl" not in screen_of(low)
    page = job_html(low, FILES).partition("<script")[0]
    assert "to slice" not in page
    assert "to print: a.green.stl" not in page
    for result, make in ((fine, True), (low, False)):
        travels: Any = SimpleNamespace(
            letter="A",
            name="a",
            green=Path("a.green.stl"),
            green_sha256="0" * 64,
            report=job_dict(result, FILES),
            mass=lambda stage: None,
            lengths=(),
            not_measured=(),
        )
        seen: Any = None
        assert travel_part(travels, seen, is_alone=True)["make"] is make


def test_a_part_that_tips_over_was_looked_at_and_its_remedies_have_flags() -> None:
    """A refused solve is one entry; the flags behind its hint are on the screen."""
    look = SagLook(why_not="it tips over", refused=True, remedies=(Option.SUPPORT,))
    found = _sag(look)
    assert (found.state, found.skipped) == (State.LOOK, "")
    assert Verdict((found,)).headline.endswith("Sag is not known.")
    assert _sag_flags(look) == "--support"
    assert all(option in FLAGS for option in Option)


def test_a_side_that_layers_make_far_off_is_no_fine_size() -> None:
    """1.35 mm is 5.36 layers of 0.3 mm green: five are printed, 1.26 mm fired, 7 % off."""
    part = part_from_mesh(trimesh.creation.box((30, 20, 1.35)))
    result = compensate(part, recipe(look_at_sag=False))
    found = check(result, "fired sizes")
    assert found.state is State.LOOK
    (text,) = (reason.text for reason in found.reasons)
    z = result.prediction.sizes[2]
    assert z.fired_mm.value == pytest.approx(5 * 0.3 * 0.84, abs=0.01)
    assert f"Z is expected at {z.fired_mm.value:.2f} instead of 1.35 mm, 7 % off" in text
    assert "make it 1.26 or 1.51 mm high" in text
    whole = compensate(
        part_from_mesh(trimesh.creation.box((30, 20, 6 * 0.3 * 0.84))), recipe(look_at_sag=False)
    )
    assert check(whole, "fired sizes").state is State.FINE


def test_a_crack_of_rounding_has_no_width_in_words() -> None:
    none = np.empty((0, 3))
    faces = np.empty((0, 3), dtype=np.int64)
    assert Closed(none, faces, 2, 6.1e-14, 0).cracks == (
        "closed cracks without width: merged 2 vertices"
    )
    assert "at most 0.32 µm" in Closed(none, faces, 2, 0.32, 0).cracks
