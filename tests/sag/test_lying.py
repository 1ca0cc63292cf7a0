"""Parts that do not stand: what the refusal says is what is wrong with them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from sag.solids import bar, bridge, one_armed_lever
from shrinkrule.errors import MeshError
from shrinkrule.sag.lying import crooked_deg, stands_on_a_point
from shrinkrule.sag.material import SagMaterial
from shrinkrule.sag.precurve import Saving, precurve, what_helps
from shrinkrule.sag.settings import SagSettings
from shrinkrule.sag.solve import sag_on_grid
from shrinkrule.sag.steering import solve_sag
from shrinkrule.sag.voxels.grid import lay_grid

STIFF = SagMaterial(modulus_kpa=20_000.0, modulus_u_kpa=2_000.0, poisson=0.46, density_g_cm3=7.0)
UP = np.array([0.0, 0.0, 1.0])


def turned(mesh: trimesh.Trimesh, degrees: float) -> trimesh.Trimesh:
    other = mesh.copy()
    axis = np.array([1.0, 0.4, 0.0]) / np.hypot(1.0, 0.4)
    other.apply_transform(trimesh.transformations.rotation_matrix(np.radians(degrees), axis))
    return other


def cone_on_its_tip() -> trimesh.Trimesh:
    cone = trimesh.creation.cone(8.0, 20.0, sections=48)
    cone.apply_transform(np.diag([1.0, -1.0, -1.0, 1.0]))
    return cone


@pytest.mark.parametrize("degrees", [0.5, 1.0, 4.0])
def test_the_angle_to_the_face_is_the_one_it_was_turned_by(degrees: float) -> None:
    assert crooked_deg(turned(bar((0, 0, 0), (40, 20, 5)), degrees), UP) == pytest.approx(
        degrees, abs=1e-4
    )


def test_a_part_laid_down_crooked_lies_crooked_and_does_not_tip_over() -> None:
    plate = turned(bar((0, 0, 0), (60, 40, 4)), 1.0)
    with pytest.raises(MeshError, match=r"lies crooked by 1\.0 degrees: set down, it turns") as no:
        solve_sag(plate, STIFF, SagSettings(brick_mm=1.0))
    assert "tips over" not in str(no.value)


def test_a_bent_part_is_refused_by_how_crooked_it_was_set_down() -> None:
    """By 1 degree, though its pre-curved shape, which is what falls, leans by 3 more."""
    wanted, bent = (turned(bar((0, 0, 0), (60, 40, 4)), degrees) for degrees in (1.0, 4.0))
    grid = lay_grid(bent, np.eye(3), 1.5)
    with pytest.raises(MeshError, match=r"crooked by 1\.0 degrees"):
        sag_on_grid(bent, grid, STIFF, SagSettings(), lies=wanted)


def test_a_lever_that_tips_over_has_no_face_nearby() -> None:
    assert crooked_deg(one_armed_lever(), UP) is None


def test_a_cone_on_its_tip_stands_on_a_point() -> None:
    with pytest.raises(MeshError, match="stands on a point"):
        solve_sag(cone_on_its_tip(), STIFF, SagSettings(brick_mm=1.0))
    assert not stands_on_a_point(trimesh.creation.cone(8.0, 20.0), UP)
    assert not stands_on_a_point(trimesh.creation.icosphere(subdivisions=4, radius=9.0), UP)


@pytest.mark.parametrize(
    ("sag", "wall", "said"), [(0.036, 3.0, False), (2.0, 0.33, False), (0.3, 2.0, True)]
)
def test_a_thicker_wall_is_proposed_where_it_would_help(
    sag: float, wall: float, said: bool
) -> None:
    """h = (10 sag h0^2)^(1/3): 1.5 mm instead of 3, 1.3 of 0.33, and 2.29 of 2."""
    before = replace(solve_sag(bridge(), STIFF, SagSettings(brick_mm=2.0)), largest_sag_mm=sag)
    assert any("thick" in remedy for remedy in what_helps(before, wall)) is said


def test_a_slump_has_no_interval_and_a_strange_modulus_is_questioned() -> None:
    from shrinkrule.report.sag.words import sag_figures, sag_text

    soft = SagMaterial(1.0, 0.1, 0.46, 7.0)
    slump = precurve(bridge(), soft, SagSettings(brick_mm=2.0))
    assert slump.verdict is Saving.HOPELESS
    assert slump.before.slumps
    assert "95 %" not in sag_text(slump)
    assert slump.before.interval95_mm is None
    assert "slumps" in sag_text(slump)
    assert not any("±" in figure for _, figure in sag_figures(slump))
    assert any("beyond any usual one" in warning for warning in slump.before.warnings)
    usual = precurve(bridge(), STIFF, SagSettings(brick_mm=2.0))
    assert usual.before.interval95_mm is not None
    assert "95 %" in sag_text(usual)
    assert not any("beyond any usual one" in warning for warning in usual.before.warnings)


def test_a_shell_and_its_reverse_have_no_centre_of_mass() -> None:
    """No volume to divide by: nothing is said, and no warning comes out."""
    box = trimesh.creation.box((20.0, 10.0, 5.0))
    both = np.vstack([box.faces, box.faces[:, ::-1]])
    assert crooked_deg(trimesh.Trimesh(box.vertices, both, process=False), UP) is None
    assert crooked_deg(box, UP) == pytest.approx(0.0)
