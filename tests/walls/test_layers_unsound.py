"""Surfaces that are no sound solid: the layers say what they can and mark what they cannot.

Cubes have 10 mm sides and 0.2 mm layers: 50 layers of mid-heights 0.1, 0.3 ... 9.9. A
sound cube shows nothing, so every finding would be false; a rib of 0.5 mm (bead 0.6) is a
thin wall that must be seen whatever else is wrong.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from shrinkrule.printer import Printer
from shrinkrule.walls import FindingKind, LayerReport, WallLimits, layer_findings

PRINTER = Printer(0.6, 0.6, 0.2)
Ints = NDArray[np.int64]


def report(mesh: trimesh.Trimesh) -> LayerReport:
    return layer_findings(mesh, PRINTER, WallLimits())


def raw(vertices: object, facets: object) -> trimesh.Trimesh:
    return trimesh.Trimesh(
        np.asarray(vertices, dtype=np.float64),
        np.asarray(facets, dtype=np.int64),
        process=False,
        validate=False,
    )


def cube(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> trimesh.Trimesh:
    return trimesh.creation.box((10.0, 10.0, 10.0)).apply_translation((x, y, z))


def ribbed(body: trimesh.Trimesh) -> trimesh.Trimesh:
    """Put an upright plate of 0.5 mm well beside a body."""
    plate = trimesh.creation.box((8.0, 0.5, 10.0)).apply_translation((0.0, 20.0, 0.0))
    return trimesh.util.concatenate([body, plate])


def without(where: Callable[[NDArray[np.float64]], NDArray[np.bool_]], most: int) -> Ints:
    """Facets of a cube less the first few whose corners are all at a place."""
    body = cube()
    gone = np.flatnonzero(where(body.vertices[body.faces]).all(axis=1))[:most]
    kept: Ints = np.delete(np.asarray(body.faces, dtype=np.int64), gone, axis=0)
    return kept


def flipped_facet() -> trimesh.Trimesh:
    facets = np.array(cube().faces)
    facets[3] = facets[3][::-1]
    return raw(cube().vertices, facets)


def inside_out(x: float) -> trimesh.Trimesh:
    other = cube(x, 0.0, 0.0)
    other.invert()
    return trimesh.util.concatenate([cube(), other])


def sharing_an_edge() -> trimesh.Trimesh:
    pair = trimesh.util.concatenate([cube(), cube(10.0, 10.0, 0.0)])
    pair.merge_vertices()
    return pair


def touching(merged: str) -> trimesh.Trimesh:
    pair = trimesh.util.concatenate([cube(), cube(10.0, 0.0, 0.0)])
    if merged == "merged":
        pair.merge_vertices()
    return pair


def figure_eight() -> trimesh.Trimesh:
    """Sweep a circle of 3 mm along a figure of eight: a single surface that crosses itself."""
    around, along = 24, 120
    t = np.arange(along) * 2 * np.pi / along
    middle = np.column_stack([20 * np.sin(t), 10 * np.sin(2 * t), np.zeros(along)])
    way = np.column_stack([20 * np.cos(t), 20 * np.cos(2 * t), np.zeros(along)])
    side = np.cross([0.0, 0.0, 1.0], way / np.linalg.norm(way, axis=1)[:, None])
    turn = np.arange(around) * 2 * np.pi / around
    up = np.array([0.0, 0.0, 1.0])
    points = middle[:, None] + 3 * (
        np.cos(turn)[None, :, None] * side[:, None] + np.sin(turn)[None, :, None] * up
    )
    i, j = np.meshgrid(np.arange(along), np.arange(around), indexing="ij")
    a, b = i * around + j, i * around + (j + 1) % around
    c, d = (i + 1) % along * around + j, (i + 1) % along * around + (j + 1) % around
    facets = np.concatenate([np.stack([a, c, d], -1), np.stack([a, d, b], -1)]).reshape(-1, 3)
    tube = raw(points.reshape(-1, 3), facets)
    if tube.volume < 0:
        tube.invert()
    return tube


WHOLE: dict[str, Callable[[], trimesh.Trimesh]] = {
    "a facet of the top is missing": lambda: raw(
        cube().vertices, without(lambda c: c[..., 2] > 4.0, 1)
    ),
    "a facet of a side is missing": lambda: raw(
        cube().vertices, without(lambda c: c[..., 0] > 4.0, 1)
    ),
    "a facet faces inward": flipped_facet,
    "all facets face inward": lambda: raw(cube().vertices, cube().faces[:, ::-1]),
    "a body faces inward": lambda: inside_out(15.0),
    "a body that crosses another faces inward": lambda: inside_out(7.0),
    "bodies cross": lambda: trimesh.util.concatenate([cube(), cube(7.0, 2.0, 1.0)]),
    "bodies lie in one place": lambda: trimesh.util.concatenate([cube(), cube()]),
    "facets are there twice": lambda: raw(
        cube().vertices, np.vstack([cube().faces, cube().faces[:3]])
    ),
    "a surface crosses itself": figure_eight,
}

SOUND: dict[str, Callable[[], trimesh.Trimesh]] = {
    "bodies share an edge": sharing_an_edge,
    "bodies touch": lambda: touching("apart"),
    "bodies share corners of a face": lambda: touching("merged"),
    "no corner is shared": lambda: raw(
        cube().triangles.reshape(-1, 3), np.arange(36).reshape(-1, 3)
    ),
    "facets without area": lambda: raw(cube().vertices, np.vstack([cube().faces, [[2, 2, 2]]])),
}


@pytest.mark.parametrize("name", WHOLE)
def test_what_is_wrong_is_said_and_nothing_invented(name: str) -> None:
    body = WHOLE[name]()
    found = report(body)
    assert found.findings == ()
    assert not found.trusted
    assert found.layers > 0
    assert found.notes
    # What does not hang on the damage is still found.
    (rib,) = report(ribbed(body)).findings
    assert rib.kind is FindingKind.THIN_WALL
    assert rib.smallest_mm == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize("name", SOUND)
def test_what_only_looks_unsound_is_trusted(name: str) -> None:
    found = report(SOUND[name]())
    assert found == LayerReport((), 50, 0.0, 0.0, (), True)


def test_volume_counted_twice_is_reported() -> None:
    found = report(trimesh.util.concatenate([cube(), cube(7.0, 2.0, 1.0)]))
    (note,) = found.notes
    # 3 by 8 by 9 mm are shared.
    assert "about 220 mm3 counted twice" in note
    assert "unite them" in note


def test_an_open_side_hides_only_what_it_bounds() -> None:
    tray = raw(cube().vertices, without(lambda c: c[..., 0] > 4.0, 2))
    found = report(ribbed(tray))
    (rib,) = found.findings
    assert rib.kind is FindingKind.THIN_WALL
    assert any("not closed (4 open" in note and "close it" in note for note in found.notes)


def test_layers_with_too_many_open_contours_are_left_out() -> None:
    rng = np.random.default_rng(4)
    found = report(raw(rng.normal(size=(900, 3)) * 10.0, np.arange(900).reshape(-1, 3)))
    assert found.layers == 0
    assert found.findings == ()
    assert any("too many gaps" in note for note in found.notes)


@pytest.mark.parametrize(
    ("mesh", "words"),
    [
        (trimesh.Trimesh(), "no facets"),
        (raw(np.full((3, 3), np.nan), [[0, 1, 2]]), "no number"),
        (raw([[0, 0, 0], [9, 0, 0], [0, 9, 5]], [[0, 1, 2]]), "not closed"),
        (
            raw(cube().vertices, np.vstack([cube().faces, cube().faces[:, ::-1]])),
            "encloses nothing",
        ),
        (trimesh.creation.box((1e-3, 1e-3, 1e-3)), "lower than half a layer"),
    ],
)
def test_what_is_no_solid_is_refused_in_words(mesh: trimesh.Trimesh, words: str) -> None:
    found = report(mesh)
    assert found.findings == ()
    assert any(words in note for note in found.notes)


def test_mesh_is_left_as_it_was() -> None:
    vertices, facets = np.array(cube().vertices), np.array(cube().faces)[:, ::-1].copy()
    vertices.flags.writeable = False
    facets.flags.writeable = False
    mesh = raw(vertices, facets)
    report(mesh)
    assert np.array_equal(mesh.vertices, vertices)
    assert np.array_equal(mesh.faces, facets)


def test_part_lower_than_a_layer_is_a_thin_floor() -> None:
    found = report(trimesh.creation.box((20.0, 20.0, 0.05)))
    (floor,) = found.findings
    assert floor.kind is FindingKind.THIN_FLOOR
    assert floor.smallest_mm == pytest.approx(0.05, abs=1e-9)
    assert "lower than half a layer" in found.notes[0]


@pytest.mark.parametrize("side", [1e4, 1e5])
def test_huge_parts_are_cut_coarsely_and_say_so(side: float) -> None:
    found = report(trimesh.creation.box((side, 30.0, side)))
    assert found.findings == ()
    assert found.layers <= 2000
    assert "check the unit and the size" in found.notes[0]


def test_noise_is_named_as_noise(monkeypatch: pytest.MonkeyPatch) -> None:
    """With fewer facets and pieces than it takes in a part as printed."""
    monkeypatch.setattr("shrinkrule.walls.layers.check.MAX_PIECES", 300)
    ball = trimesh.creation.icosphere(5, radius=10.0)
    spikes = 1.0 + 0.05 * np.random.default_rng(1).random((len(ball.vertices), 1))
    found = report(raw(ball.vertices * spikes, ball.faces))
    assert any("rougher than a bead" in note for note in found.notes)


def test_far_from_the_origin_nothing_changes() -> None:
    plate = trimesh.creation.box((8.0, 0.5, 10.0)).apply_translation((1e5, 1e5, 1e5))
    (rib,) = report(plate).findings
    assert rib.smallest_mm == pytest.approx(0.5, abs=1e-3)
