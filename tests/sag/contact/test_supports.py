"""Setter blocks hold the surface where it is, on any grid, and end where they end."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from sag.solids import bar, bricks_of, grid_of, united
from shrinkrule.sag import SagMaterial, SagSettings, SupportBox, solve_sag
from shrinkrule.sag.contact.supports import find_undersides

STIFF = SagMaterial(modulus_kpa=1e6, modulus_u_kpa=0.0, poisson=0.46, density_g_cm3=7.0)


def test_undersides_are_found_where_they_are() -> None:
    """A table whose top has its underside at 6.3 bricks: the nodes at 6 are to be held."""
    part = united(bar((0, 0, 0), (4, 8, 8)), bar((0, 0, 6.3), (12, 8, 8)))
    bricks = bricks_of(part, grid_of(part, (1.0, 1.0, 1.0)), 0.3)
    under = find_undersides(bricks)
    free = under.place[:, 0] > 5.0
    assert under.place[free, 2] == pytest.approx(6.3, abs=1e-5)
    assert np.all(bricks.nodes[under.node[free], 2] == 6)
    assert under.place[under.place[:, 0] < 3.5, 2] == pytest.approx(0.0, abs=1e-9)


def test_the_nearer_node_is_held() -> None:
    """The same with the underside at 6.8 bricks: the nodes at 7."""
    part = united(bar((0, 0, 0), (4, 8, 8)), bar((0, 0, 6.8), (12, 8, 8)))
    bricks = bricks_of(part, grid_of(part, (1.0, 1.0, 1.0)), 0.3)
    under = find_undersides(bricks)
    free = under.place[:, 0] > 5.0
    assert np.all(bricks.nodes[under.node[free], 2] == 7)


def test_a_bedded_ball_sags_alike_on_every_grid() -> None:
    """Held under a slope by its bed, which bricks cut in every way."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=10.0)
    bed = SupportBox((-11.0, -11.0, -11.0), (11.0, 11.0, -6.0))
    sags = [
        solve_sag(ball, STIFF, SagSettings(supports=(bed,), brick_mm=brick)).largest_sag_mm
        for brick in (1.7, 1.3, 1.0, 0.8)
    ]
    assert np.ptp(sags) < 0.05 * np.mean(sags)


def test_an_overhang_grows_evenly_as_its_support_is_drawn_back() -> None:
    """By quarters of a brick: no step from one to the next, as rounding to nodes would make."""
    part = united(bar((0, 0, 0), (4, 3, 12)), bar((0, 0, 10), (30, 3, 12)))
    sags = []
    for end in np.arange(18.0, 20.1, 0.25):
        block = SupportBox((6.0, -1.0, 9.0), (float(end), 4.0, 11.0))
        settings = SagSettings(supports=(block,), brick_mm=1.0)
        sags.append(solve_sag(part, STIFF, settings).largest_sag_mm)
    steps = np.diff(np.log(sags))
    assert np.all(steps < -0.02)
    # Alone it would go as L^4: 9 % for each quarter, 36 % for a whole brick at once.
    assert np.all(steps > -0.25)


def test_facets_of_a_support_hold_what_a_box_around_them_holds() -> None:
    from shrinkrule.sag import SupportFacets

    part = united(bar((0, 0, 0), (4, 3, 12)), bar((0, 0, 10), (30, 3, 12)))
    normals, middles = np.asarray(part.face_normals), np.asarray(part.triangles_center)
    below = np.flatnonzero((normals[:, 2] < -0.9) & (middles[:, 2] > 9.0))
    facets = SupportFacets(tuple(int(number) for number in below))
    box = SupportBox((4.0, -1.0, 9.0), (31.0, 4.0, 11.0))
    one, other = (
        solve_sag(part, STIFF, SagSettings(supports=(support,), brick_mm=1.0))
        for support in (facets, box)
    )
    assert one.largest_sag_mm == pytest.approx(other.largest_sag_mm, rel=1e-6)
