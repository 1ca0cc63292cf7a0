"""Thickness at the vertices of coloured meshes, against closed forms; facts about the colours."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from shrinkrule.printer import Printer
from shrinkrule.walls import (
    ThicknessMap,
    ThicknessScale,
    WallLimits,
    band_map,
    check_walls,
    thickness_map,
)
from walls import shapes

Floats = NDArray[np.float64]

PRINTER = Printer.from_nozzle(0.6)
SCALE = ThicknessScale.of(PRINTER, WallLimits())


def mapped(mesh: trimesh.Trimesh) -> ThicknessMap:
    report = check_walls(mesh, PRINTER)
    return thickness_map(mesh, report.shown)


def normals(found: ThicknessMap) -> Floats:
    """Outward normal at each vertex, which stands for one smooth face alone."""
    mesh = trimesh.Trimesh(found.vertices, found.faces, process=False)
    return np.asarray(mesh.vertex_normals, dtype=np.float64)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_plate_of_twelve_facets_has_its_thickness_at_every_corner(seed: int) -> None:
    found = mapped(shapes.turned(shapes.box(40.0, 20.0, 2.0), seed))
    assert found.thickness == pytest.approx(np.full(len(found.vertices), 2.0), rel=1e-6)
    # Nothing changes, so nothing is split; each corner stands once for each of its three faces.
    assert (len(found.faces), len(found.vertices)) == (12, 24)


def test_a_tube_has_its_wall_everywhere() -> None:
    """Flats exactly 1.2 mm apart; exact to a thousandth on something round."""
    found = mapped(shapes.tube(10.0, 1.2, 20.0, 64))
    assert found.thickness == pytest.approx(np.full(len(found.vertices), 1.2), rel=2e-3)


def test_a_wedge_thickens_as_it_should_at_every_vertex() -> None:
    """Ball thickness on a wedge's face is 2 x tan(angle / 2), x from the apex along the face."""
    angle, length, width = np.radians(20.0), 20.0, 30.0
    found = mapped(shapes.wedge(angle, length, width))
    x, y, z = found.vertices.T
    expected = 2.0 * x * np.tan(angle / 2.0)
    # Where the ball meets neither the thick end nor the sides, and no edge is a facet away.
    reach = expected / 2.0 + 0.7
    room = (x > 0.7) & (x + reach < length) & (np.minimum(y, width - y) > reach)
    below = (normals(found)[:, 2] < -0.99) & room & (z < 1e-9)
    assert below.sum() > 500
    # A plane fitted to the samples about it: exact but where they lie to one side alone, and
    # there off by less than half a spacing of 0.33 mm is worth, 0.058 mm.
    off = np.abs(found.thickness - expected)[below]
    assert np.quantile(off, 0.98) < 1e-3
    assert off.max() < 0.03


def test_a_step_is_split_where_it_is_and_does_not_bleed() -> None:
    """A plate 1 mm thick for x < 0 and 3 mm beyond, seen from its flat side."""
    outline = np.array(
        [[-20.0, 0.0], [20.0, 0.0], [20.0, 3.0], [0.0, 3.0], [0.0, 1.0], [-20.0, 1.0]]
    )
    triangles = np.array([[0, 1, 4], [1, 2, 3], [1, 3, 4], [0, 4, 5]])
    step = trimesh.creation.extrude_triangulation(outline, triangles, 20.0)
    found = mapped(step)
    mesh = trimesh.Trimesh(found.vertices, found.faces, process=False)
    below = normals(found)[:, 1] < -0.99
    x, along = found.vertices[:, 0], found.vertices[:, 2]
    # The 3 mm ball under the corner at (0, 1) touches y = 0 within 1.42 mm of it, by
    # (x^2 + (1.5 - 1)^2 = 1.5^2); between them the ball grows from 1 to 3 mm.
    inner = below & (np.minimum(along, 20.0 - along) > 1.6)
    thin, thick = inner & (x < -0.35), inner & (x > 1.42 + 0.35)
    assert found.thickness[thin] == pytest.approx(np.full(thin.sum(), 1.0), rel=1e-6)
    assert found.thickness[thick] == pytest.approx(np.full(thick.sum(), 3.0), rel=1e-6)
    # Beside the change, which samples locate to two spacings of 0.33 mm, edges are no longer.
    ends = np.asarray(mesh.edges_unique)
    across = below[ends].all(axis=1) & (np.abs(x[ends].mean(axis=1)) < 0.2)
    length = np.linalg.norm(np.diff(found.vertices[ends[across]], axis=1)[:, 0], axis=1)
    assert 0 < length.max() <= 0.66


@pytest.mark.parametrize(
    "part",
    [
        shapes.wedge(np.radians(25.0), 15.0, 10.0),
        trimesh.creation.annulus(5.0, 9.0, 4.0, sections=48),
        trimesh.creation.capsule(12.0, 3.0, count=[24, 24]),
        shapes.tube(8.0, 0.6, 12.0, 40),
    ],
    ids=["wedge", "ring", "capsule", "tube"],
)
def test_the_surface_stays_whole_and_where_it_was(part: trimesh.Trimesh) -> None:
    """Joined at its creases again it is closed, with the same volume and area."""
    found = mapped(part)
    joined = trimesh.Trimesh(found.vertices, found.faces, process=False)
    joined.merge_vertices(digits_vertex=9)
    assert joined.is_watertight
    assert joined.is_winding_consistent
    assert joined.volume == pytest.approx(part.volume, rel=1e-9)
    assert joined.area == pytest.approx(part.area, rel=1e-9)


def test_the_same_part_gives_the_same_map() -> None:
    one, other = (mapped(shapes.wedge(np.radians(25.0), 15.0, 10.0)) for _ in range(2))
    assert np.array_equal(one.vertices, other.vertices)
    assert np.array_equal(one.thickness, other.thickness)


def test_what_lies_open_has_no_thickness() -> None:
    sheet = trimesh.Trimesh([[0, 0, 0], [30, 0, 0], [0, 30, 0]], [[0, 1, 2]], process=False)
    found = mapped(sheet)
    assert np.isnan(found.thickness).all()
    grey = SCALE.legend[-1].colour
    assert SCALE.colours_of(found.band) == pytest.approx(np.tile(grey, (3, 1)))


def test_what_lies_inside_another_body_has_no_thickness() -> None:
    """Two plates 2 mm thick that cross: the faces of each inside the other are no wall's."""
    one = shapes.box(30.0, 20.0, 2.0)
    other = shapes.box(2.0, 20.0, 30.0)
    found = mapped(trimesh.util.concatenate([one, other]))
    x, _, z = np.abs(found.vertices).T
    facing_x, _, facing_z = np.abs(normals(found)).T > 0.9
    inside = (facing_x | facing_z) & (np.maximum(x, z) < 0.9)
    assert np.isnan(found.thickness[inside]).all()
    outside = (facing_z & (x > 2.0)) | (facing_x & (z > 2.0))
    assert outside.sum() > 50
    assert found.thickness[outside] == pytest.approx(np.full(outside.sum(), 2.0), rel=1e-6)


def test_the_rim_of_a_plate_has_the_plate_s_thickness() -> None:
    """No ball on the rim is a wall's: the rim shows those of the plate."""
    report = check_walls(shapes.box(40.0, 20.0, 2.0), PRINTER)
    rim = np.abs(report.samples.normals[:, 2]) < 0.5
    assert rim.sum() > 100
    assert report.shown.thickness[rim] == pytest.approx(np.full(rim.sum(), 2.0), rel=1e-6)


def test_colours_change_at_the_limits_and_a_wall_at_its_limit_passes() -> None:
    exist, sound = PRINTER.bead_width_mm, 2.0 * PRINTER.bead_width_mm
    band = SCALE.band(np.array([exist - 0.01, exist, sound - 0.01, sound, 10.0, 10.01, np.nan]))
    assert band.tolist() == [0, 1, 1, 2, 4, 5, -1]


SIGHT = {
    "full": np.eye(3),
    "no red": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
               [-0.003882, -0.048116, 1.051998]],
    "no green": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                 [-0.011820, 0.042940, 0.968881]],
    "no blue": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def lab(colours: Floats, sight: Floats) -> Floats:
    """CIELAB (D65) of sRGB colours (n, 3) as eyes of this sight see them."""
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ np.asarray(sight).T, 0.0, 1.0)
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    x, y, z = np.cbrt((seen @ to_xyz.T / [0.95047, 1.0, 1.08883]).T)
    return np.column_stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)])


@pytest.mark.parametrize("sight", SIGHT)
def test_every_two_colours_differ(sight: str) -> None:
    """CIE 1976 difference of 15 and more: ten just noticeable ones.

    Sight without one kind of cone: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans.
    Vis. Comput. Graph. 15 (2009) 1291-1298, full severity (matrices from memory).
    """
    colours = lab(np.array([entry.colour for entry in SCALE.legend]), np.asarray(SIGHT[sight]))
    apart = [np.linalg.norm(a - b) for a, b in itertools.combinations(colours, 2)]
    assert min(apart) > 15.0


def test_sound_thicknesses_grow_darker_in_even_steps() -> None:
    lightness = lab(np.array([entry.colour for entry in SCALE.legend[2:5]]), np.eye(3))[:, 0]
    steps = -np.diff(lightness)
    assert steps.min() > 10.0
    assert steps.max() / steps.min() < 1.35


def test_with_too_many_edges_to_split_the_longest_are() -> None:
    """Colours of a part with many long edges do not stay those of its corners alone."""
    wedge = shapes.wedge(np.radians(20.0), 20.0, 30.0)
    shown = check_walls(wedge, PRINTER).shown
    none, few, all_of_them = (band_map(wedge, shown, most) for most in (0, 40, 10**6))
    assert len(none[1]) == len(wedge.faces)
    # Each edge has two facets, which become four.
    assert len(wedge.faces) < len(few[1]) <= len(wedge.faces) + 2 * 40 < len(all_of_them[1])
    longest = [np.linalg.norm(p[f[:, 1]] - p[f[:, 0]], axis=1).max() for p, f, _ in (none, few)]
    assert longest[1] < longest[0]
