"""The difference of two grids steers how finely a sag is solved."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import trimesh

from sag.solids import bridge
from shrinkrule.cli import main
from shrinkrule.sag import SagMaterial, SagSettings, solve_sag, steering
from shrinkrule.sag.plan import plan_bricks
from shrinkrule.sag.preparation import prepare
from shrinkrule.sag.result import GridSag
from shrinkrule.sag.solve import sag_on_grid, solve_on_two_grids
from shrinkrule.sag.steering import _correction, _error, expected_seconds, solve_surely, within_time
from shrinkrule.sag.voxels.grid import lay_grid

MATERIAL = SagMaterial(modulus_kpa=8000.0, modulus_u_kpa=0.0, poisson=0.46, density_g_cm3=7.5)


def ring() -> trimesh.Trimesh:
    """A ring of radius 15, 2 thick and 8 wide, that stands on its rim."""
    part = trimesh.creation.annulus(r_min=13.0, r_max=15.0, height=8.0, sections=96)
    part.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2.0, (1, 0, 0)))
    return part


RING_SAG_MM = 0.494


def test_a_ring_is_right_to_two_percent_where_its_bricks_alone_are_not() -> None:
    """Against triquadratic elements on a one-sided plate: benchmarks/sag_shapes.py."""
    settings = SagSettings(max_unknowns=25_000)
    plain, _ = solve_on_two_grids(prepare(ring(), MATERIAL, settings), lambda _: None)
    assert plain.field.lowest()[0] < 0.97 * RING_SAG_MM
    result = solve_sag(ring(), MATERIAL, settings)
    assert result.largest_sag_mm == pytest.approx(RING_SAG_MM, rel=0.02)
    assert abs(result.largest_sag_mm - RING_SAG_MM) < result.numerical_mm


@pytest.mark.parametrize("coarser", [2.0, 1.5])
def test_two_grids_of_second_order_are_extrapolated_to_their_limit(coarser: float) -> None:
    """A field that is its limit and the square of the brick is brought to the limit exactly.

    With ``u = 1 + h^2`` everywhere the finer grid lacks ``-h^2``, and errs by as much.
    """

    def made(brick: float) -> GridSag:
        solid = bridge()
        grid = lay_grid(solid, np.eye(3), brick, 1.0)
        solved = sag_on_grid(solid, grid, MATERIAL, SagSettings())
        square = float(np.prod(grid.size)) ** (2.0 / 3.0)
        moved = np.full_like(solved.field.displacement, 1.0 + square)
        return replace(solved, field=replace(solved.field, displacement=moved))

    fine, coarse = made(1.0), made(coarser)
    limit = fine.field.displacement + _correction(fine.field, coarse.field).displacement
    assert limit == pytest.approx(1.0, rel=1e-9)
    square = fine.field.displacement[0, 0] - 1.0
    assert _error(fine, coarse) == pytest.approx(np.sqrt(3.0) * square, rel=1e-9)


def test_grids_that_differ_little_are_not_extrapolated(monkeypatch: pytest.MonkeyPatch) -> None:
    """A second grid finer by a quarter agrees by chance: the first coarse one stays beside it."""
    pairs: list[float] = []

    def seen(fine: GridSag, coarse: GridSag) -> float:
        pairs.append(float(np.cbrt(np.prod(coarse.field.grid.size / fine.field.grid.size))))
        return _error(fine, coarse)

    monkeypatch.setattr(steering, "_error", seen)
    settings = SagSettings(sure_share=1e-4, wall_mm=2.0, tolerance_mm=1e-6)
    problem = prepare(bridge(), MATERIAL, settings)
    planned = plan_bricks(problem.plan, 1.0)
    room = replace(settings, max_unknowns=int(2.5 * planned.unknowns))
    small = replace(problem, plan=planned, settings=room)
    sure = solve_surely(small, lambda *_: None, "solving", 0.0, 1.0)
    assert len(pairs) > 1
    assert min(pairs) >= 1.6
    assert sure.plan.brick_mm < 0.85


@pytest.mark.parametrize(
    ("error", "asked", "floor"), [(0.0, 0.02, 0.02), (1e-5, 1e-7, 0.015)], ids=["as is", "limit"]
)
def test_stated_is_no_less_than_what_agreeing_grids_may_hide(
    error: float, asked: float, floor: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of the largest movement: 2 % of a grid as it is, 1.5 % where two are extrapolated."""
    monkeypatch.setattr(steering, "_error", lambda *_: error)
    settings = SagSettings(max_unknowns=6000, sure_share=asked, tolerance_mm=1e-9)
    problem = prepare(bridge(), MATERIAL, settings)
    full = replace(problem, settings=replace(settings, max_unknowns=problem.plan.unknowns))
    reaches: list[float] = []

    def seen(*given: Any, **more: Any) -> GridSag:
        solved = sag_on_grid(*given, **more)
        reaches.append(float(np.linalg.norm(solved.field.displacement, axis=1).max()))
        return solved

    monkeypatch.setattr(steering, "sag_on_grid", seen)
    sure = solve_surely(full, lambda *_: None, "solving", 0.0, 1.0)
    assert (sure.correction is None) is (error == 0.0)
    assert sure.numerical_mm == pytest.approx(floor * reaches[-1], rel=1e-9)


def test_bricks_that_are_stated_are_taken_as_they_are() -> None:
    result = solve_sag(bridge(), MATERIAL, SagSettings(brick_mm=1.0, sure_share=1e-6))
    assert result.field.grid.size.max() <= 1.0
    assert result.field.grid.size.min() > 0.7


def test_what_would_take_too_long_is_solved_with_what_fits_and_says_so() -> None:
    """For half the time about half the unknowns: the note names both."""
    problem = prepare(bridge(), MATERIAL, SagSettings())
    seconds = expected_seconds(problem.plan.unknowns, 10)
    assert within_time(problem, 10) is problem.plan
    hurried = prepare(bridge(), MATERIAL, SagSettings(max_seconds=0.5 * seconds))
    planned = within_time(hurried, 10)
    assert planned.unknowns < 0.65 * problem.plan.unknowns
    assert f"{problem.plan.unknowns:,} unknowns would take" in planned.notes[-1]
    assert f"{planned.unknowns:,}" in planned.notes[-1]
    assert "a number of unknowns, allows more" in planned.notes[-1]
    told: list[str] = []
    solve_surely(hurried, lambda stage, _: told.append(stage), "solving", 0.0, 1.0)
    assert "would take about" in told[0]
    assert told[1].startswith("solving, about ")


def test_the_time_is_told_before_the_solve() -> None:
    told: list[str] = []
    solve_surely(
        prepare(bridge(), MATERIAL, SagSettings(max_unknowns=6000)),
        lambda stage, _: told.append(stage),
        "solving",
        0.0,
        1.0,
    )
    assert told[0].startswith("solving, about ")


@pytest.mark.parametrize("detail", ["medium", "12", "-5", "1e6"])
def test_a_detail_that_is_none_is_refused(detail: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compensate", "none.stl", "--demo-table", "--sag", "--sag-detail", detail]) == 2
    assert "coarse, usual, fine" in capsys.readouterr().err.replace("\n", " ")
