"""The verdict is never better than what was looked at."""

from __future__ import annotations

from dataclasses import replace

import pytest
import trimesh

from shrinkrule import Printer, Recipe, compensate, demo_table, find_row, part_from_mesh
from shrinkrule.calibration import Interval
from shrinkrule.compensation import LayerPrediction, ScaleFactors, SizePrediction
from shrinkrule.job import Check, JobResult, Level, Reason, State, Verdict
from shrinkrule.job.verdict import _heights
from shrinkrule.report.verdict import check_lines, verdict_dict

ROW = find_row(demo_table(), "bronze demo batch 90", "demo table")
NO_MODULUS = replace(ROW, sag_modulus_kpa=None)


def box(recipe: Recipe) -> JobResult:
    return compensate(part_from_mesh(trimesh.creation.box((30, 20, 5))), recipe)


def check(result: JobResult, name: str) -> Check:
    (found,) = [check for check in result.verdict.checks if check.name == name]
    return found


def test_a_row_without_a_modulus_leaves_the_sag_unknown_and_the_headline_says_so() -> None:
    result = box(Recipe(Printer.from_nozzle(0.6), NO_MODULUS))
    assert result.verdict.level is Level.MAKE
    assert result.verdict.headline == "Make it, as far as looked at: sag is not known."
    assert check(result, "sag").state is State.NOT_LOOKED_AT
    assert check(result, "sag").skipped == "no sag modulus in the row"
    assert check(result, "walls").state is State.FINE


def test_factors_by_hand_know_neither_sag_nor_how_sure_sizes_are() -> None:
    result = box(Recipe(Printer.from_nozzle(0.6), factors=ScaleFactors.alike(1.17, 1.19)))
    assert "Sag is not known." in result.verdict.headline
    assert check(result, "sag").skipped == "factors by hand hold no sag modulus"
    assert check(result, "metal balance").state is State.NOT_LOOKED_AT
    assert check(result, "fired sizes").state is State.LOOK
    assert check(result, "furnace").state is State.NOT_LOOKED_AT


@pytest.mark.parametrize(
    ("states", "skipped", "level", "opening"),
    [
        ([], "", Level.MAKE, "Make it."),
        ([], "why", Level.MAKE, "Make it, as far as looked at: sag is not known."),
        ([State.LOOK], "why", Level.LOOK, "Make it, but look at these first. Sag is not known."),
        ([State.LOOK, State.STOP], "why", Level.STOP, "Do not make it as it is."),
    ],
)
def test_the_heaviest_reason_decides(
    states: list[State], skipped: str, level: Level, opening: str
) -> None:
    reasons = tuple(Reason(state, f"a {state.value}") for state in states)
    verdict = Verdict((Check("walls", reasons), Check("sag", (), skipped, "sag is not known")))
    assert verdict.level is level
    assert verdict.headline == opening
    assert [reason.state for reason in verdict.reasons] == sorted(
        states, key=[State.STOP, State.LOOK].index
    )


def test_what_does_not_matter_stays_out_of_the_headline() -> None:
    verdict = Verdict((Check("walls"), Check("furnace", (), "not stated")))
    assert verdict.headline == "Make it."
    lines = [line.plain for line in check_lines(verdict)]
    assert lines == ["fine: walls", "not looked at: furnace (not stated)"]


def test_screen_and_json_speak_of_the_same_states() -> None:
    known = {state.value for state in State}
    result = box(Recipe(Printer.from_nozzle(0.6), factors=ScaleFactors.alike(1.17, 1.19)))
    assert {line.plain.partition(":")[0] for line in check_lines(result.verdict)} <= known
    told = verdict_dict(result.verdict)
    assert {c["state"] for c in told["checks"]} <= known
    assert [c["name"] for c in told["checks"] if c["not_looked_at_because"]] == [
        "bed",
        "sag",
        "furnace",
        "fired sizes",
        "metal balance",
    ]


def test_heights_to_make_count_the_first_layer_and_are_never_the_one_it_has() -> None:
    """Layers of 0.25 fired mm, and a first one that fires 0.02 mm higher."""
    layers = LayerPrediction(5.2, 5, 0.0, (1.0, 1.25, 1.5))
    size = SizePrediction("Z", 1.4, 1.5, Interval(1.27, 0.05), "", "", False)
    assert "make it 1.27 or 1.52 mm high" in _heights(size, layers)
    thin = LayerPrediction(1.2, 1, 0.0, (0.25, 0.5))
    only = _heights(replace(size, wanted_mm=0.27, fired_mm=Interval(0.27)), thin)
    assert "make it 0.52 mm high" in only
