"""Ball thickness against shapes whose thickness is known in closed form."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh

from shrinkrule.errors import MeshError
from shrinkrule.walls import Status, ThicknessSamples, sample_surface, thickness_at
from walls.shapes import box, shell, tube, turned, wedge


def measured(mesh: trimesh.Trimesh, spacing: float) -> ThicknessSamples:
    points = sample_surface(mesh, spacing)
    return thickness_at(mesh, points.points, points.facets)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("thickness", [0.01, 0.8, 5.0])
def test_a_plate_is_as_thick_as_it_is(thickness: float, seed: int) -> None:
    plate = turned(box(40.0, 30.0, thickness), seed)
    samples = measured(plate, 1.0)
    walls = samples.thickness[samples.is_wall]
    # Where the rim reaches into the ball by less than a thousandth of its radius, it is measured as
    # the wall; elsewhere vertices turned in float64 at 50 mm carry 1e-14 mm.
    np.testing.assert_allclose(walls, thickness, rtol=1e-3)
    assert np.percentile(np.abs(walls / thickness - 1.0), 99) < 3e-6
    assert len(walls) > 1500


def test_a_wedge_is_as_thick_as_its_inscribed_ball() -> None:
    """The ball in a wedge of angle a at x from the apex: 2 x tan(a / 2), derived."""
    for degrees in (10.0, 30.0, 45.0, 60.0):
        angle = np.radians(degrees)
        solid = wedge(angle, 20.0, 30.0)
        points = np.array([[3.0, 15.0, 0.0], [6.0, 14.0, 0.0], [9.0, 16.0, 0.0]])
        floor = int(np.flatnonzero(solid.face_normals[:, 2] < -0.99)[0])
        samples = thickness_at(solid, points, np.full(3, floor))
        np.testing.assert_allclose(
            samples.thickness, 2.0 * points[:, 0] * np.tan(angle / 2.0), rtol=1e-5
        )
        assert (samples.status == Status.MEASURED).all()


def test_a_tube_is_as_thick_as_its_wall() -> None:
    samples = measured(turned(tube(9.0, 1.0, 40.0, 720, 20), 4), 0.5)
    walls = samples.thickness[samples.is_wall]
    # The flats' corners leave 9 / cos(pi/720) - 9 = 0.00009 mm.
    assert np.percentile(np.abs(walls - 1.0), 99) < 0.002


def test_a_shell_is_as_thick_as_its_wall() -> None:
    samples = measured(shell(8.0, 1.5, 5), 0.4)
    walls = samples.thickness[samples.is_wall]
    # Facets of an icosphere cut 5 times sag by less than 0.003 mm at this radius.
    assert np.percentile(np.abs(walls - 1.5), 99) < 0.0075


def test_a_cube_has_one_thickness() -> None:
    samples = measured(turned(box(10.0, 10.0, 10.0), 5), 0.25)
    walls = samples.thickness[samples.is_wall]
    # What reaches into the ball by less than a thousandth of its radius counts as touching.
    np.testing.assert_allclose(walls, 10.0, rtol=1e-3)


ROUND: dict[str, tuple[Callable[[], trimesh.Trimesh], float]] = {
    "ball": (lambda: trimesh.creation.icosphere(5, 12.0), 24.0),
    "ring": (lambda: trimesh.creation.torus(25.0, 5.0, 320, 160), 10.0),
    "rod": (lambda: trimesh.creation.cylinder(radius=12.0, height=90.0, sections=96), 24.0),
}


@pytest.mark.parametrize("name", ROUND)
def test_something_round_is_as_thick_as_its_diameter(name: str) -> None:
    """A ball touching one facet touches the next too, though the part is thick behind both.

    Tolerance 0.3 %: a ball serves neighbours it misses by 0.2 %, what reaches into it by a
    thousandth counts as touching, and the flats of a rod of 96 sides lie 0.05 % nearer.
    """
    make, diameter = ROUND[name]
    samples = measured(make(), 1.0)
    if name == "rod":
        middle = np.abs(samples.points[:, 2]) < 30.0
        assert (samples.status[middle] == Status.MEASURED).all()
        np.testing.assert_allclose(samples.thickness[middle], diameter, rtol=3e-3)
    else:
        assert (samples.status == Status.MEASURED).all()
        np.testing.assert_allclose(samples.thickness, diameter, rtol=3e-3)


def test_a_single_facet_has_no_thickness() -> None:
    facet = trimesh.Trimesh([[0, 0, 0], [5, 0, 0], [0, 5, 0]], [[0, 1, 2]])
    samples = measured(facet, 1.0)
    assert (samples.status == Status.OPEN).all()
    assert np.isnan(samples.thickness).all()


def test_an_empty_mesh_is_refused() -> None:
    with pytest.raises(MeshError, match="no facets"):
        thickness_at(trimesh.Trimesh(), np.zeros((1, 3)), np.zeros(1, dtype=np.int64))


def test_a_coordinate_that_is_no_number_is_refused() -> None:
    mesh = box(1.0, 1.0, 1.0)
    corners = mesh.vertices.copy()
    corners[0, 0] = np.nan
    broken = trimesh.Trimesh(corners, mesh.faces, process=False, validate=False)
    with pytest.raises(MeshError, match="not a number"):
        thickness_at(broken, np.zeros((1, 3)), np.zeros(1, dtype=np.int64))
