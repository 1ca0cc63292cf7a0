"""The sag of whole parts on the plate: laws, contact, refusals."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
import trimesh

from sag.solids import bar, bridge, one_armed_lever, two_armed_lever, united
from shrinkrule.errors import MeshError, Option, SettingError
from shrinkrule.sag import (
    Friction,
    SagMaterial,
    SagSettings,
    SupportBox,
    SupportFacets,
    plan,
    rank_ways_up,
    solve_sag,
    viscous_poisson,
)

STIFF = SagMaterial(modulus_kpa=20_000.0, modulus_u_kpa=2_000.0, poisson=0.46, density_g_cm3=7.0)
COARSE = SagSettings(brick_mm=1.0)


@pytest.mark.parametrize(
    ("porosity", "ratio"),
    [(0.0, 0.5), (0.05, 0.480519), (0.1, 0.459459), (0.2, 0.411765), (0.4, 0.285714), (0.5, 0.2)],
)
def test_viscous_poisson_ratio(porosity: float, ratio: float) -> None:
    """Skorohod-Olevsky constants, derived and checked against 9KG/(3K+G) and its like."""
    assert viscous_poisson(1.0 - porosity) == pytest.approx(ratio, abs=1e-6)


@pytest.mark.parametrize("density", [0.2, 1.01, float("nan"), 90.0])
def test_viscous_poisson_refuses_what_is_no_density(density: float) -> None:
    with pytest.raises(SettingError, match="relative density"):
        viscous_poisson(density)


def test_sag_is_inverse_to_the_modulus() -> None:
    lever = two_armed_lever()
    soft = SagMaterial(10_000.0, 1_000.0, 0.46, 7.0)
    one, two = solve_sag(lever, STIFF, COARSE), solve_sag(lever, soft, COARSE)
    assert two.displacement == pytest.approx(2.0 * one.displacement, abs=1e-4 * two.largest_sag_mm)
    assert one.modulus_mm == pytest.approx(0.1 * one.largest_sag_mm)


def test_sag_of_a_larger_shape_is_as_its_square() -> None:
    """At equal density and modulus the sag of the green-sized part is k^2 times the fired one's."""
    k = 1.19
    lever = two_armed_lever()
    larger = two_armed_lever()
    larger.apply_scale(k)
    small = solve_sag(lever, STIFF, COARSE)
    large = solve_sag(larger, STIFF, SagSettings(brick_mm=k))
    assert large.largest_sag_mm == pytest.approx(k**2 * small.largest_sag_mm, rel=1e-4)


def test_symmetric_part_sags_symmetrically() -> None:
    result = solve_sag(two_armed_lever(), STIFF, SagSettings(brick_mm=0.8))
    points = np.random.default_rng(5).uniform([3, -3, 18], [20, 3, 20], (200, 3))
    here = result.field.at(points)
    there = result.field.at(points * [-1, 1, 1]) * [-1, 1, 1]
    across = result.field.at(points * [1, -1, 1]) * [1, -1, 1]
    # The filling's scan lines are not symmetric to the last digit, the iteration ends at 1e-5.
    assert there == pytest.approx(here, abs=1e-3 * result.largest_sag_mm)
    assert across == pytest.approx(here, abs=1e-3 * result.largest_sag_mm)


def test_furnace_up_turns_with_the_part() -> None:
    """A part and its furnace turned together sag alike: displacements turn with them."""
    lever = two_armed_lever()
    turned = two_armed_lever()
    matrix = trimesh.transformations.rotation_matrix(1.1, (1, 2, -1))
    turned.apply_transform(matrix)
    up = matrix[:3, :3] @ [0.0, 0.0, 1.0]
    straight = solve_sag(lever, STIFF, COARSE)
    result = solve_sag(turned, STIFF, SagSettings(brick_mm=1.0, furnace_up=(up[0], up[1], up[2])))
    back = result.displacement @ matrix[:3, :3]
    assert back[:, 2] == pytest.approx(
        straight.displacement[:, 2], abs=2e-3 * straight.largest_sag_mm
    )


def test_the_plate_bears_the_weight_and_never_pulls() -> None:
    result = solve_sag(bridge(), STIFF, COARSE)
    assert result.settled
    # The feet rock inward as the span sags: their outer rows leave the plate.
    assert result.lifted > 0
    assert result.largest_lift_mm > 0.0
    assert result.displacement[:, 2].min() < 0.0
    underside = result.field.at(np.array([[0.0, 4.0, 0.0], [40.0, 4.0, 0.0]]))
    assert np.all(underside[:, 2] > 0.0)


def test_drag_holds_the_feet() -> None:
    """Feet stuck to the plate cannot slide apart, so the span sags less."""
    free = solve_sag(bridge(), STIFF, COARSE)
    stuck = solve_sag(bridge(), STIFF, SagSettings(brick_mm=1.0, friction=Friction.DRAG))
    assert stuck.largest_sag_mm < 0.9 * free.largest_sag_mm


def test_a_part_that_sags_onto_the_plate_is_caught() -> None:
    """A span 0.5 mm over the plate cannot come down further than that."""
    low = united(
        bar((0, 0, 0), (4, 8, 2.5)), bar((36, 0, 0), (40, 8, 2.5)), bar((0, 0, 0.5), (40, 8, 2.5))
    )
    soft = SagMaterial(1_000.0, 0.0, 0.46, 7.0)
    result = solve_sag(low, soft, SagSettings(brick_mm=0.5))
    assert result.drop_to_plate_mm == pytest.approx(0.5, abs=1e-6)
    middle = result.field.at(np.array([[20.0, 4.0, 0.5]]))
    assert middle[0, 2] == pytest.approx(-0.5, abs=1e-3)
    assert any("down onto the plate" in warning for warning in result.warnings)


@pytest.mark.parametrize("kind", ["box", "facets"])
def test_support_under_the_span(kind: str) -> None:
    part = bridge()
    if kind == "box":
        support: SupportBox | SupportFacets = SupportBox((18, -1, 9), (22, 9, 10.2))
    else:
        middle = part.triangles_center
        under = np.flatnonzero((np.abs(middle[:, 2] - 10) < 1e-6) & (part.face_normals[:, 2] < 0))
        support = SupportFacets(tuple(int(facet) for facet in under))
    free = solve_sag(part, STIFF, COARSE)
    held = solve_sag(part, STIFF, SagSettings(brick_mm=1.0, supports=(support,)))
    assert held.largest_sag_mm < 0.2 * free.largest_sag_mm


def test_support_that_holds_nothing_is_refused() -> None:
    nowhere = SupportBox((10, 0, 2), (20, 8, 4))
    with pytest.raises(SettingError, match="support 1 holds no underside"):
        solve_sag(bridge(), STIFF, SagSettings(brick_mm=1.0, supports=(nowhere,)))


def test_part_that_tips_over_is_refused_until_it_is_held() -> None:
    lever = one_armed_lever()
    with pytest.raises(MeshError, match="tips over") as refusal:
        solve_sag(lever, STIFF, COARSE)
    assert refusal.value.options == (Option.FURNACE_UP, Option.SUPPORT)
    under_the_arm = SupportBox((35, -3, 17), (40, 3, 18.2))
    held = solve_sag(lever, STIFF, SagSettings(brick_mm=1.0, supports=(under_the_arm,)))
    assert held.settled


def test_body_in_the_air_is_refused() -> None:
    part = trimesh.util.concatenate([bar((0, 0, 0), (9, 9, 4)), bar((0, 0, 6), (9, 9, 8))])
    with pytest.raises(MeshError, match="does not reach the setter plate"):
        solve_sag(part, STIFF, COARSE)


def test_cylinder_on_its_side_balances_and_has_to_be_chocked() -> None:
    rod = trimesh.creation.cylinder(4.0, 20.0)
    result = solve_sag(rod, STIFF, SagSettings(furnace_up=(1.0, 0.0, 0.0), brick_mm=0.8))
    assert result.rolls
    assert any("chock" in warning for warning in result.warnings)


def test_bodies_closer_than_a_brick_do_not_hold_each_other() -> None:
    """Two levers that nearly touch sag as each does alone, and lie where they lay."""
    lever = two_armed_lever()
    other = two_armed_lever()
    other.apply_translation([0.0, 6.3, 0.0])
    pair = trimesh.util.concatenate([lever, other])
    alone, both = solve_sag(lever, STIFF, COARSE), solve_sag(pair, STIFF, COARSE)
    count = len(lever.vertices)
    # The two fill their bricks otherwise, by where they lie on the grid.
    tolerance = 0.05 * alone.largest_sag_mm
    assert both.displacement[:count] == pytest.approx(alone.displacement, abs=tolerance)
    assert both.displacement[count:] == pytest.approx(alone.displacement, abs=tolerance)
    assert np.all(both.largest_at >= pair.bounds[0] - 1.0)
    assert np.all(both.largest_at <= pair.bounds[1] + 1.0)
    assert both.warnings == alone.warnings


def test_touching_bodies_are_reported_as_one_and_a_cavity_is_none() -> None:
    near = trimesh.util.concatenate([bar((0, 0, 0), (3, 3, 3)), bar((3, 0, 0), (6, 3, 3))])
    cavity = bar((3, 3, 3), (6, 6, 6))
    cavity.invert()
    hollow = trimesh.util.concatenate([bar((0, 0, 0), (9, 9, 9)), cavity])
    reported = "solved as one"
    assert any(reported in warning for warning in solve_sag(near, STIFF, COARSE).warnings)
    assert not any(reported in warning for warning in solve_sag(hollow, STIFF, COARSE).warnings)


def test_a_slot_too_narrow_for_bricks_is_reported_with_its_place() -> None:
    slot = bar((4.85, -1.0, 2.0), (5.15, 5.0, 7.0))
    part = trimesh.boolean.difference([bar((0, 0, 0), (10, 4, 6)), slot], engine="manifold")
    reported = [w for w in solve_sag(part, STIFF, COARSE).warnings if "too narrow for bricks" in w]
    assert len(reported) == 1
    found = re.search(r"about ([\d.]+) mm at ([-\d., ]+) is", reported[0])
    assert found is not None
    width, place = found.groups()
    assert float(width) == pytest.approx(0.3, rel=0.05)
    x, y, z = (float(number) for number in place.split(","))
    assert 4.7 <= x <= 5.3
    assert 0.0 <= y <= 4.0
    assert 2.0 <= z <= 6.0
    finer = solve_sag(part, STIFF, SagSettings(brick_mm=0.7)).warnings
    assert not any("too narrow for bricks" in warning for warning in finer)


def test_soft_part_is_warned_about() -> None:
    result = solve_sag(two_armed_lever(), SagMaterial(300.0, 30.0, 0.46, 7.0), COARSE)
    assert any("linear model" in warning for warning in result.warnings)


def test_same_input_same_output() -> None:
    one, two = solve_sag(bridge(), STIFF, COARSE), solve_sag(bridge(), STIFF, COARSE)
    assert np.array_equal(one.displacement, two.displacement)


def test_numerical_uncertainty_covers_a_much_finer_grid() -> None:
    lever = two_armed_lever()
    coarse = solve_sag(lever, STIFF, COARSE)
    fine = solve_sag(lever, STIFF, SagSettings(brick_mm=0.4))
    assert abs(coarse.largest_sag_mm - fine.largest_sag_mm) < coarse.numerical_mm


def test_progress_rises_to_one() -> None:
    reported: list[float] = []
    solve_sag(bridge(), STIFF, COARSE, progress=lambda _stage, share: reported.append(share))
    assert reported == sorted(reported)
    assert reported[-1] == 1.0


def test_plan_estimates_what_it_takes() -> None:
    planned = plan(two_armed_lever(), SagSettings())
    assert planned.wall_mm == pytest.approx(2.0, rel=0.01)
    assert planned.bricks_through >= 4.0
    result = solve_sag(two_armed_lever(), STIFF, SagSettings(sure_share=0.2))
    assert planned.unknowns == pytest.approx(result.unknowns, rel=0.15)
    assert planned.notes == ()


def test_plan_refuses_what_does_not_fit_and_names_what_would() -> None:
    part = bridge()
    with pytest.raises(SettingError, match="would fit") as refusal:
        plan(part, SagSettings(brick_mm=0.05))
    fitting = float(refusal.value.hint.split(" mm")[0].split()[-1])
    assert plan(part, SagSettings(brick_mm=fitting)).unknowns <= SagSettings().max_unknowns
    with pytest.raises(SettingError, match="would fit"):
        plan(part, SagSettings(brick_mm=0.2, max_memory=300_000_000))


def test_plan_says_when_the_budget_leaves_few_bricks() -> None:
    planned = plan(bridge(), SagSettings(max_unknowns=6_000))
    assert planned.bricks_through < 4.0
    assert "fewer than 4" in planned.notes[0]
    assert planned.expected_error > plan(bridge(), SagSettings()).expected_error


BAD_SETTINGS: list[dict[str, Any]] = [
    {"furnace_up": (0.0, 0.0, 0.0)},
    {"brick_mm": -1.0},
    {"friction": "glue"},
    {"tolerance_mm": 0.0},
    {"max_rounds": 0},
]


@pytest.mark.parametrize("wrong", BAD_SETTINGS, ids=str)
def test_settings_refuse_nonsense(wrong: dict[str, Any]) -> None:
    with pytest.raises(SettingError):
        SagSettings(**wrong)


@pytest.mark.parametrize(
    "wrong", [(0.0, 0.0, 0.4, 7.0), (1e4, -1.0, 0.4, 7.0), (1e4, 0, 0.6, 7.0), (1e4, 0, 0.4, 0.0)]
)
def test_material_refuses_nonsense(wrong: tuple[float, float, float, float]) -> None:
    with pytest.raises(SettingError, match="impossible"):
        SagMaterial(*wrong)


def test_ranking_puts_the_bridge_upside_down() -> None:
    """Lying on its span nothing hangs; standing on its ends it is tall and sways."""
    ways = rank_ways_up(bridge(), STIFF, SagSettings(tolerance_mm=0.001, max_unknowns=8_000))
    assert len({way.name for way in ways}) == 6
    assert ways[0].name in {"-z", "y", "-y"}
    order = [way.name for way in ways]
    assert order.index("-z") < order.index("z")
    best = next(way for way in ways if way.name == "-z")
    assert best.footprint_mm2 == pytest.approx(320.0)
    assert best.height_mm == pytest.approx(12.0)


def test_ranking_keeps_ways_that_tip_over_at_the_end() -> None:
    ways = rank_ways_up(one_armed_lever(), STIFF, SagSettings(max_unknowns=8_000))
    tipping = next(way for way in ways if way.name == "z")
    assert not tipping.stands
    assert "tips over" in tipping.reason
    standing = [way.stands for way in ways]
    assert standing == sorted(standing, reverse=True)
