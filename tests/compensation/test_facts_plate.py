"""Height added below a part: only what lies on the plate moves, and it stands there again."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold, OpType

from shrinkrule.compensation.plate import plate_moved
from shrinkrule.errors import MeshError
from shrinkrule.mesh.bodies import mesh_from_solid


def table(*extra: Manifold) -> trimesh.Trimesh:
    """A top of 20 x 20 x 4 mm on a leg of 6 x 6 x 5 mm, away from the origin."""
    leg = Manifold.cube((6.0, 6.0, 5.5)).translate((7.0, 7.0, 0.0))
    top = Manifold.cube((20.0, 20.0, 4.0)).translate((0.0, 0.0, 5.0))
    whole = Manifold.batch_boolean([leg, top, *extra], OpType.Add)
    return mesh_from_solid(whole.translate((30.0, -50.0, 0.0)))


@pytest.mark.parametrize("added_mm", [0.3, 0.05, -0.1, -0.4])
def test_height_is_added_below_the_leg_alone(added_mm: float) -> None:
    """The leg is longer by it, the top as thick as it was, and nothing moves in plan."""
    part = table()
    longer = plate_moved(part, added_mm)
    assert longer.volume == pytest.approx(part.volume + 36.0 * added_mm)
    heights = np.unique(np.round(np.asarray(longer.vertices)[:, 2], 9))
    assert heights == pytest.approx([0.0, 5.0 + added_mm, 9.0 + added_mm])
    assert np.asarray(longer.vertices)[:, :2] == pytest.approx(np.asarray(part.vertices)[:, :2])


def test_what_is_taken_off_must_be_lower_than_any_detail_above_the_plate() -> None:
    """A foot beside the leg, whose sole is 0.2 mm above the plate."""
    foot = Manifold.cube((3.0, 3.0, 6.0)).translate((15.0, 15.0, 0.2))
    part = table(foot)
    assert plate_moved(part, -0.15).bounds[1, 2] == pytest.approx(9.0 - 0.15)
    assert plate_moved(part, 0.25).bounds[1, 2] == pytest.approx(9.0 + 0.25)
    for too_much in (-0.2, -0.3):
        with pytest.raises(MeshError, match="a detail near the plate is lower"):
            plate_moved(part, too_much)


def test_without_a_face_on_the_plate_nothing_can_be_added() -> None:
    ball = trimesh.creation.icosphere(2, 5.0)
    ball.apply_translation((0.0, 0.0, -ball.bounds[0, 2]))
    with pytest.raises(MeshError, match="no face lies on the plate"):
        plate_moved(ball, 0.1)
