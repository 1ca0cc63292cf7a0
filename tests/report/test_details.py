"""A cut shows the section that is there, what is small is drawn close, what is hidden is cut."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import Manifold

from shrinkrule import Printer, ScaleFactors
from shrinkrule.compensation import green_part, way_up
from shrinkrule.job import look_at_walls
from shrinkrule.mesh import part_from_mesh
from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.report.pictures.camera import Camera
from shrinkrule.report.pictures.colouring import GREY
from shrinkrule.report.pictures.details import detail_pictures
from shrinkrule.report.pictures.scene import BEHIND_CUT, Stage, draw
from shrinkrule.report.pictures.walls import thickness_colouring, wall_pictures, wall_views
from shrinkrule.walls import WallLimits


def hollow_box() -> Manifold:
    """40 x 30 x 20 with walls of 3, a rib of 0.4 across its closed hollow, and a fin on its lid."""
    box = Manifold.cube((40, 30, 20)) - Manifold.cube((34, 24, 14)).translate((3, 3, 3))
    rib = Manifold.cube((0.4, 24, 14)).translate((20, 3, 3))
    return box + rib + Manifold.cube((3, 0.4, 3)).translate((10, 10, 19))


@pytest.mark.parametrize(("axis", "area"), [(0, 30 * 20 - 24 * 14), (1, 40 * 20 - 33.6 * 14)])
def test_a_cut_shows_the_area_of_the_section(axis: int, area: float) -> None:
    stage = Stage(mesh_from_solid(hollow_box()))
    eye = [0.0, 0.0, 0.0]
    eye[axis] = 1.0
    whole = Camera.looking_at(stage.points, (eye[0], eye[1], eye[2]), 400, 300)
    at = np.array([15.0, 15.0, 10.0])
    centre = whole.centre + ((at - whole.centre) @ whole.back) * whole.back
    camera = Camera(whole.right, whole.up, whole.back, centre, whole.mm_per_pixel, 400, 300, True)
    pixels = np.asarray(draw(stage, camera, None).image)[..., 0]
    section = np.abs(pixels - 255 * GREY[0]) < 2
    # Along some 200 mm of borders an edge is drawn, up to a pixel wide.
    border = 200.0 * camera.mm_per_pixel
    assert area - border < section.sum() * camera.mm_per_pixel**2 < area + 1.0
    # Behind it the hollow's far wall, darker.
    assert (np.abs(pixels - 255 * BEHIND_CUT * GREY[0]) < 2).sum() > 1000


def test_a_hidden_wall_is_cut_and_a_small_one_drawn_close() -> None:
    part = part_from_mesh(mesh_from_solid(hollow_box()))
    green = green_part(part.mesh, ScaleFactors.alike(1.2, 1.2), way_up("z"))
    look = look_at_walls(part, green, Printer.from_nozzle(0.6), WallLimits())
    views = wall_views(look, thickness_colouring(look))
    rib = next(n for n, row in enumerate(look.rows, 1) if row.worst.in_model[2] < 20)
    assert len(look.rows) == 2
    captions = {int(picture.marked[0]): picture.caption for picture in detail_pictures(views)}
    # The rib is thin along X: a cut across Y shows it, one across X would lie in it.
    assert captions[rib] == f"place {rib}: cut through it, seen from the front"
    assert "close, seen from" in captions[3 - rib]
    assert len(wall_pictures(views)) == 3
