"""Sag of beams, columns and plates against handbook formulas.

Formulas: Roark's Formulas for Stress and Strain (beams); Timoshenko and
Woinowsky-Krieger, Theory of Plates and Shells (plates); both from memory, the beams
recomputed with a boundary-value solver when the values were collected. Weight per
volume over modulus is 1/mm throughout: the sag is linear in it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh

from sag.solids import bar, bricks_of, grid_of, places, rigid_candidates, sag_held, tilted
from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.sag import SagMaterial, SagSettings, solve_sag
from shrinkrule.sag.contact.active_set import solve_contact
from shrinkrule.sag.fem.field import SagField
from shrinkrule.sag.fem.pcg import Equilibrium
from shrinkrule.sag.fem.rigid_modes import find_bodies
from shrinkrule.sag.settings import Friction

DOWN = (0.0, 0.0, -1.0)
SHEAR_SHARE = 5.0 / 6.0


def cantilever_theory(length: float, height: float, poisson: float) -> float:
    """Tip sag of a cantilever, bending (w L^4 / 8 E I) and shear (w L^2 / 2 k G A)."""
    return 1.5 * length**4 / height**2 + length**2 * (1.0 + poisson) / SHEAR_SHARE


def built_in(height: float) -> Callable[[Floats], Mask]:
    """Hold the end x = 0 without hindering that the section grows narrower or wider."""

    def held(place: Floats) -> Mask:
        end = place[:, 0] < 1e-9
        middle = np.abs(place[:, 2] - height / 2.0) < 1e-9
        return np.stack([end, end & middle & (place[:, 1] < 1e-9), end & middle], axis=1)

    return held


@pytest.mark.parametrize(("through", "within"), [(4, 0.03), (8, 0.01)])
@pytest.mark.parametrize("poisson", [0.0, 0.3, 0.46])
def test_cantilever(through: int, within: float, poisson: float) -> None:
    length, height = 30.0, 2.0
    beam = bar((0, 0, 0), (length, 2, height))
    brick = height / through
    field = sag_held(beam, grid_of(beam, (brick,) * 3), poisson, DOWN, built_in(height))
    tip = -field.at(np.array([[length, 1.0, height / 2.0]]))[0, 2]
    assert tip == pytest.approx(cantilever_theory(length, height, poisson), rel=within)


@pytest.mark.parametrize(("through", "within"), [(4, 0.03), (8, 0.01)])
def test_beam_on_two_supports(through: int, within: float) -> None:
    """5 w L^4 / 384 E I and w L^2 / 8 k G A, on one-sided supports under the very ends."""
    length, height, poisson = 40.0, 2.0, 0.3
    sag = _on_line_supports(length, height, poisson, through, (0.0, length))
    theory = 5.0 / 32.0 * length**4 / height**2 + length**2 * (1.0 + poisson) / 4 / SHEAR_SHARE
    assert sag[np.argmin(np.abs(sag[:, 0] - length / 2)), 1] == pytest.approx(theory, rel=within)


def test_beam_on_the_supports_of_least_sag() -> None:
    """Supports at 0.22315 L from the ends: range of the sag 2.70e-4 w L^4 / E I.

    The range is 48 times less than with end supports, so shear matters: a slender beam,
    and 4 % for the shear that remains.
    """
    length, height = 100.0, 1.0
    sag = _on_line_supports(length, height, 0.0, 2, (22.5, 77.5))
    span = np.ptp(sag[:, 1])
    a = 22.5 / length
    # The supports lie on the grid, at 0.225 L; the exact range there, from the beam's equation.
    expected = _range_on_supports(a) * 12.0 * length**4 / height**2
    assert _range_on_supports(0.22315) == pytest.approx(2.70e-4, rel=2e-3)
    assert span == pytest.approx(expected, rel=0.04)


def _range_on_supports(a: float) -> float:
    """Range of the deflection of a unit beam (w = E I = L = 1) on supports at a and 1 - a."""
    x = np.linspace(0.0, 1.0, 20001)
    moment = -(x**2) / 2.0 + 0.5 * np.clip(x - a, 0.0, None) + 0.5 * np.clip(x - 1 + a, 0.0, None)
    step = x[1] - x[0]
    slope = np.concatenate([[0.0], np.cumsum((moment[1:] + moment[:-1]) / 2.0) * step])
    drop = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) / 2.0) * step])
    line = np.interp([a, 1 - a], x, drop)
    drop = drop - line[0] - (line[1] - line[0]) / (1 - 2 * a) * (x - a)
    return float(np.ptp(drop))


def _on_line_supports(
    length: float, height: float, poisson: float, through: int, at: tuple[float, float]
) -> Floats:
    """Place along the beam and sag of its middle line, (n, 2)."""
    beam = bar((0, 0, 0), (length, 2 * height / through, height))
    grid = grid_of(beam, (height / through,) * 3)
    bricks = bricks_of(beam, grid, poisson)
    place = places(grid, bricks)
    load = np.zeros((len(bricks.nodes), 4))
    load[:, 2] = -bricks.volumes
    on_line = np.isclose(place[:, 0, None], at, atol=1e-6).any(axis=1)
    under = np.flatnonzero(on_line & (place[:, 2] < 1e-9))
    problem = Equilibrium(bricks, find_bodies(bricks), load)
    state = solve_contact(problem, rigid_candidates(under), Friction.FREE)
    assert state.settled
    middle = np.flatnonzero(np.abs(place[:, 2] - height / 2.0) < 1e-9)
    return np.stack([place[middle, 0], -state.solution.displacement[middle, 2]], axis=1)


def test_overhanging_bar_lifts_where_theory_says() -> None:
    """A heavy bar on a ledge, overhanging by a, lifts off it over a length sqrt(2) a.

    From the beam's equation: where it lifts, deflection, slope and moment are zero, and
    at the edge the deflection is zero and the moment -w a^2 / 2; then w l / 4 =
    w (l^2 - a^2) / 2 l. Its greatest lift is 27 w l^4 / (6144 E I). A slender bar, and
    5 % for shear and for the edge that lies on a row of nodes.
    """
    height, outside_support, length = 1.0, 14.0, 60.0
    beam = bar((0, 0, 0), (length, 1, height))
    grid = grid_of(beam, (1.0, 0.5, 0.5))
    bricks = bricks_of(beam, grid, 0.0)
    place = places(grid, bricks)
    load = np.zeros((len(bricks.nodes), 4))
    load[:, 2] = -bricks.volumes
    ledge = np.flatnonzero((place[:, 2] < 1e-9) & (place[:, 0] <= length - outside_support + 1e-9))
    problem = Equilibrium(bricks, find_bodies(bricks), load)
    state = solve_contact(problem, rigid_candidates(ledge), Friction.FREE)
    assert state.settled
    held = place[ledge[state.touching], 0]
    edge = length - outside_support
    inner = held[held < edge - 1.0]
    assert edge - inner.max() == pytest.approx(np.sqrt(2.0) * outside_support, rel=0.05)
    lift = state.solution.displacement[ledge, 2].max()
    free_length = np.sqrt(2.0) * outside_support
    assert lift == pytest.approx(27.0 / 6144.0 * 12.0 * free_length**4 / height**2, rel=0.05)


def test_column_shortens_under_its_own_weight() -> None:
    """rho g H^2 / 2 E, standing freely on the plate; slender, so that its foot matters little."""
    column = bar((0, 0, 0), (4, 4, 60))
    material = SagMaterial(modulus_kpa=1.0e6, modulus_u_kpa=0.0, poisson=0.46, density_g_cm3=7.0)
    result = solve_sag(column, material, SagSettings())
    theory = material.weight_over_modulus * 60.0**2 / 2.0
    assert result.largest_sag_mm == pytest.approx(theory, rel=0.01)
    assert result.lifted == 0


@pytest.mark.parametrize(
    ("edges", "coefficient"), [("clamped", 0.00126), ("simply supported", 0.00406)]
)
def test_square_plate(edges: str, coefficient: float) -> None:
    """Coefficient times q a^4 / D; a quarter of a plate of a / h = 50, 3 % for its shear."""
    side, height, poisson = 100.0, 2.0, 0.3
    quarter = bar((0, 0, 0), (side / 2, side / 2, height))

    def held(place: Floats) -> Mask:
        x, y, z = place.T
        mirror = np.stack([x < 1e-9, y < 1e-9, np.zeros(len(x), bool)], axis=1)
        rim = (x > side / 2 - 1e-9) | (y > side / 2 - 1e-9)
        middle = rim & (np.abs(z - height / 2) < 1e-9)
        none = np.zeros_like(rim)
        rims = [rim] * 3 if edges == "clamped" else [none, none, middle]
        return np.asarray(mirror | np.stack(rims, axis=1), dtype=np.bool_)

    field = sag_held(quarter, grid_of(quarter, (1.25, 1.25, 0.5)), poisson, DOWN, held)
    rigidity = height**3 / (12.0 * (1.0 - poisson**2))
    centre = -field.at(np.array([[0.0, 0.0, height / 2]]))[0, 2]
    assert centre == pytest.approx(coefficient * height * side**4 / rigidity, rel=0.03)


def test_round_plate_clamped() -> None:
    """Bending q (a^2 - r^2)^2 / 64 D and shear q (a^2 - r^2) / 4 k G h.

    The grid gives the rim steps, so its radius is known to half a brick only: it is read
    from the deflection itself and must be the rim's within that.
    """

    def held(place: Floats) -> Mask:
        return np.repeat((np.hypot(place[:, 0], place[:, 1]) >= RADIUS)[:, None], 3, axis=1)

    disc, size = round_plate()
    field = sag_held(disc, grid_of(disc, size), PLATE_POISSON, DOWN, held)
    _check_round(field, rim_share=1.0, centre_share=1.0)


def test_round_plate_on_a_ring() -> None:
    """Bending (5 + nu)/(1 + nu) q a^4 / 64 D at the centre, resting on its rim one-sidedly."""
    disc, size = round_plate()
    grid = grid_of(disc, size)
    bricks = bricks_of(disc, grid, PLATE_POISSON)
    place = places(grid, bricks)
    load = np.zeros((len(bricks.nodes), 4))
    load[:, 2] = -bricks.volumes
    ring = np.hypot(place[:, 0], place[:, 1]) >= RADIUS
    candidates = np.flatnonzero(ring & (place[:, 2] < place[:, 2].min() + 1e-9))
    problem = Equilibrium(bricks, find_bodies(bricks), load)
    state = solve_contact(problem, rigid_candidates(candidates), Friction.FREE)
    assert state.settled
    field = SagField(grid, bricks, state.solution.displacement[:, :3])
    nu = PLATE_POISSON
    _check_round(field, rim_share=(3 + nu) / (1 + nu), centre_share=(5 + nu) / (1 + nu))


RADIUS, PLATE_POISSON = 30.0, 0.3


def round_plate() -> tuple[trimesh.Trimesh, tuple[float, float, float]]:
    """A disc of a / h = 20, and the bricks for it."""
    return trimesh.creation.cylinder(RADIUS + 0.75, 1.5, sections=128), (0.75, 0.75, 0.375)


def _check_round(field: SagField, rim_share: float, centre_share: float) -> None:
    """Compare w = c0 + c2 r^2 + q r^4 / 64 D with the plate whose radius follows from c2."""
    height = 1.5
    r = np.linspace(0.0, 0.8 * RADIUS, 60)
    w = -field.at(np.stack([r, np.zeros_like(r), np.zeros_like(r)], axis=1))[:, 2]
    rigidity = height**3 / (12.0 * (1.0 - PLATE_POISSON**2))
    shear = 2.0 * (1.0 + PLATE_POISSON) / (4.0 * SHEAR_SHARE)
    c2, c0 = np.polyfit(r**2, w + shear * r**2 - height * r**4 / (64 * rigidity), 1)
    rim = np.sqrt(-c2 * 32 * rigidity / height / rim_share)
    assert rim == pytest.approx(RADIUS, abs=field.grid.size[0])
    expected = centre_share * height * rim**4 / (64 * rigidity) + shear * rim**2
    # The ring holds the plate at its lower face, where a level rim settles by a constant.
    assert c0 == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize(("through", "within"), [(4, 0.05), (8, 0.02)])
@pytest.mark.parametrize("degrees", [0, 15, 30, 45])
def test_beam_across_the_grid(degrees: float, through: int, within: float) -> None:
    """A cantilever tilted against the grid, gravity across the beam.

    The end is held on steps of the grid, so the deflection is compared free of its shift
    and turn there: the moment is known everywhere, and with it the curvature.
    """
    length, height, width, poisson = 40.0, 2.0, 4.0, 0.3
    straight = bar((0, -width / 2, -height / 2), (length, width / 2, height / 2))
    beam, turn = tilted(straight, degrees)
    grid = grid_of(beam, (height / through,) * 3)
    down = turn @ np.array(DOWN)

    def held(place: Floats) -> Mask:
        return np.repeat(((place @ turn)[:, 0] < 0.75 * height)[:, None], 3, axis=1)

    field = sag_held(beam, grid, poisson, (down[0], down[1], down[2]), held, 1e-6)
    s = np.linspace(0.2 * length, length, 80)
    axis = np.stack([s, np.zeros_like(s), np.zeros_like(s)], axis=1)
    w = -(field.at(axis @ turn.T) @ turn)[:, 2]
    theory = s**2 * (6 * length**2 - 4 * length * s + s**2) / (2.0 * height**2)
    theory += (length * s - s**2 / 2) * 2.0 * (1.0 + poisson) / SHEAR_SHARE
    fit = np.linalg.lstsq(np.stack([np.ones_like(s), s, theory], axis=1), w, rcond=None)[0]
    assert fit[2] == pytest.approx(1.0, abs=within)
