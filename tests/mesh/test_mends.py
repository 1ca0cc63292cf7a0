"""Mends that change nothing solid are made and said; what would be a guess is left."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule.errors import MeshError, Option
from shrinkrule.mesh import Part, part_from_mesh


def box_with_crack(side: float, crack_mm: float) -> trimesh.Trimesh:
    """A box at the origin, one facet of which has its own corners, moved along X."""
    corners = np.array(trimesh.creation.box((side, side, side)).triangles)
    corners[0, :, 0] += crack_mm
    return trimesh.Trimesh(corners.reshape(-1, 3), np.arange(36).reshape(-1, 3), process=False)


def codes(part: Part, mended: bool) -> set[str]:
    return {defect.code.value for defect in part.defects if defect.mended is mended}


@pytest.mark.parametrize(
    ("side", "crack_mm", "closes"),
    [
        (200.0, 0.9e-3, True),
        (200.0, 1.2e-3, False),  # wider than a micrometre
        (20.0, 0.15e-3, True),
        (20.0, 0.3e-3, False),  # wider than a hundred-thousandth of the part
    ],
)
def test_cracks_are_closed_up_to_their_limit(side: float, crack_mm: float, closes: bool) -> None:
    part = part_from_mesh(box_with_crack(side, crack_mm))
    assert part.soundness.closed is closes
    assert codes(part, mended=True) == ({"crack"} if closes else set())
    assert codes(part, mended=False) == (set() if closes else {"open-edge"})
    if closes:
        assert part.soundness.facets == 12
        assert part.soundness.volume_mm3 == pytest.approx(side**3, rel=2 * crack_mm / side)


@pytest.mark.parametrize("divided", [0, 2])
def test_a_wider_crack_is_refused_with_its_place_its_width_and_the_choice(divided: int) -> None:
    """One half of a box stands off along Z: what is beside the open edges tells the gap."""
    corners = np.array(_divided(trimesh.creation.box((30.0, 20.0, 10.0)), divided).triangles)
    halves = corners.mean(axis=1)[:, 0] > 0.0
    corners[halves, :, 2] += 0.01
    part = part_from_mesh(trimesh.Trimesh(**trimesh.triangles.to_kwargs(corners), process=False))
    with pytest.raises(MeshError, match=r"first near x .*\(a crack up to 10.0 µm wide") as refused:
        part.require_closed()
    assert refused.value.options == (Option.OPEN,)


def test_a_hole_is_called_no_crack() -> None:
    box = trimesh.creation.box((30.0, 20.0, 10.0))
    part = part_from_mesh(trimesh.Trimesh(box.vertices, box.faces[1:], process=False))
    with pytest.raises(MeshError, match="not closed") as refused:
        part.require_closed()
    assert "crack" not in str(refused.value)


def _divided(mesh: trimesh.Trimesh, times: int) -> trimesh.Trimesh:
    for _ in range(times):
        mesh = mesh.subdivide()
    return mesh


def cone_without_tip(count: int, step_mm: float) -> trimesh.Trimesh:
    """A cone of 200 mm across whose tip is an open ring of vertices ``step_mm`` apart."""
    turn = 2.0 * np.pi * np.arange(count) / count
    circle = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(count)])
    ring = step_mm / (2.0 * np.sin(np.pi / count)) * circle + [0.0, 0.0, 100.0]
    n, after = np.arange(count), (np.arange(count) + 1) % count
    foot = np.full(count, 2 * count)
    faces = np.vstack(
        [
            np.column_stack([n, after, count + n]),
            np.column_stack([after, count + after, count + n]),
            np.column_stack([after, n, foot]),
        ]
    )
    return trimesh.Trimesh(
        np.vstack([100.0 * circle, ring, np.zeros((1, 3))]), faces, process=False
    )


def test_a_chain_of_near_vertices_is_no_crack() -> None:
    """Each step is under a micrometre, the ring of forty is ten across: a hole, not a crack."""
    hole = part_from_mesh(cone_without_tip(40, 0.8e-3))
    assert codes(hole, mended=False) == {"open-edge"}
    assert codes(hole, mended=True) == set()
    crack = part_from_mesh(cone_without_tip(4, 0.6e-3))
    assert crack.soundness.closed
    assert codes(crack, mended=True) == {"crack"}


def test_doubled_facets_are_dropped_and_counted() -> None:
    box = trimesh.creation.box((10, 10, 10))
    twice = [np.roll(box.faces[0], 1), box.faces[5]]
    part = part_from_mesh(trimesh.Trimesh(box.vertices, [*box.faces, *twice], process=False))
    assert part.soundness.facets == 12
    assert part.soundness.volume_mm3 == pytest.approx(1000.0)
    assert "dropped 2 doubled facets" in part.mends
    assert codes(part, mended=True) == {"doubled-facet"}
    assert codes(part, mended=False) == set()


def test_a_body_written_twice_is_one_body() -> None:
    box = trimesh.creation.box((10, 10, 10))
    part = part_from_mesh(trimesh.util.concatenate([box, box]))
    assert part.soundness.volume_mm3 == pytest.approx(1000.0)
    assert part.overlaps == ()


def test_a_wall_without_thickness_is_left_and_said() -> None:
    """A facet and its reverse: either may be meant, so neither goes."""
    box = trimesh.creation.box((10, 10, 10))
    fin = [[0, 1, 8], [1, 0, 8]]
    vertices = np.vstack([box.vertices, [[-5.0, -20.0, 0.0]]])
    part = part_from_mesh(trimesh.Trimesh(vertices, [*box.faces, *fin], process=False))
    assert part.soundness.facets == 14
    assert "doubled-facet" not in codes(part, mended=True)
    assert "crowded-edge" in codes(part, mended=False)


def test_facets_that_do_not_pair_up_are_called_that() -> None:
    """Two tetrahedra on one face, which is kept inside: no edge is open, three are used thrice."""
    vertices = np.array([[0, 0, 0], [9, 0, 0], [0, 9, 0], [2, 2, 9], [2, 2, -9]], float)
    outside = [[0, 1, 3], [1, 2, 3], [2, 0, 3], [1, 0, 4], [2, 1, 4], [0, 2, 4]]
    whole = part_from_mesh(trimesh.Trimesh(vertices, outside, process=False))
    assert codes(whole, mended=False) == set()
    part = part_from_mesh(trimesh.Trimesh(vertices, [*outside, [0, 1, 2]], process=False))
    assert codes(part, mended=False) == {"unpaired-edge", "crowded-edge"}
    with pytest.raises(MeshError, match=r"do not pair up on the 3 edges.*near x .* mm"):
        part.require_solid()


def test_codes_of_turned_and_nested_shells() -> None:
    outer, inner = trimesh.creation.box((20, 20, 20)), trimesh.creation.box((10, 10, 10))
    nested = part_from_mesh(trimesh.util.concatenate([outer, inner]))
    assert codes(nested, mended=False) == {"shell-in-shell", "overlapping-bodies"}
    outer.invert()
    assert codes(part_from_mesh(outer), mended=True) == {"facing-inward"}


def torn(count: int, seed: int) -> trimesh.Trimesh:
    """A ball of 20 mm, some facets of which are split at middles of their sides by themselves."""
    ball = trimesh.creation.icosphere(subdivisions=2, radius=10.0)
    some = np.random.default_rng(seed).choice(len(ball.faces), count, replace=False)
    a, b, c = (ball.vertices[ball.faces[some, k]] for k in range(3))
    ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
    pieces = [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
    parts = np.concatenate([np.stack(corners, axis=1) for corners in pieces])
    corners = np.concatenate([np.delete(np.asarray(ball.triangles), some, axis=0), parts])
    return trimesh.Trimesh(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3))


def moment(part: Part) -> np.ndarray:
    return np.append(np.ravel(part.mesh.moment_inertia), part.mesh.volume)


@pytest.mark.parametrize("count", [1, 2, 60, 319])
def test_t_joints_are_closed_and_nothing_solid_changes(count: int) -> None:
    """Volume and moments of inertia are those of the whole ball, to rounding."""
    whole = part_from_mesh(trimesh.creation.icosphere(subdivisions=2, radius=10.0))
    part = part_from_mesh(torn(count, seed=count))
    assert part.soundness.closed
    assert part.soundness.manifold
    assert part.soundness.bodies == 1
    assert codes(part, mended=True) == {"t-joint"}
    assert codes(part, mended=False) == set()
    if count == 1:
        assert part.mends == ("closed 3 T-joints",)
    assert moment(part) == pytest.approx(moment(whole), rel=1e-12, abs=1e-7)


def test_a_hole_beside_a_t_joint_leaves_both() -> None:
    """What cannot be closed by moving nothing is no mend; the file's facets stay as they are."""
    mesh = torn(5, seed=1)
    mesh.update_faces(np.arange(len(mesh.faces)) != 40)
    part = part_from_mesh(mesh)
    assert not part.soundness.closed
    assert part.soundness.facets == 320 + 15 - 1
    assert codes(part, mended=True) == set()


def test_facets_without_area_are_dropped_with_a_needle_between_near_corners() -> None:
    """A column on a polygon with two corners 0.1 nm apart: both strips between them are needles."""
    outline = np.array([[0, 0], [30, 0], [30, 1e-7], [30, 20], [0, 20]])
    n = len(outline)
    vertices = np.vstack([np.column_stack([outline, np.full(n, z)]) for z in (0.0, 10.0)])
    after = (np.arange(n) + 1) % n
    sides = [[i, j, i + n] for i, j in enumerate(after)] + [
        [j, j + n, i + n] for i, j in enumerate(after)
    ]
    caps = [[0, i + 1, i] for i in range(1, n - 1)] + [
        [n, n + i, n + i + 1] for i in range(1, n - 1)
    ]
    part = part_from_mesh(trimesh.Trimesh(vertices, [*sides, *caps], process=False))
    assert codes(part, mended=True) == {"facet-without-area"}
    assert codes(part, mended=False) == set()
    assert part.soundness.volume_mm3 == pytest.approx(6000.0, rel=1e-7)
    assert len(part.mesh.vertices) == 8
    assert "merged 2 vertices" in part.mends[0]


@pytest.mark.parametrize("halves", [(0, 1), (1, 2), (2, 0)])
def test_a_facet_without_area_on_an_edge_opens_nothing(halves: tuple[int, int]) -> None:
    """A facet too many, its third corner on an edge of a whole box: its open edges go with it."""
    corners = np.array(trimesh.creation.box((30.0, 20.0, 10.0)).triangles)
    one, other = (corners[4, n] for n in halves)
    flat = np.array([[one, 0.5 * (one + other), other]])
    both = np.concatenate([corners, flat])
    part = part_from_mesh(trimesh.Trimesh(both.reshape(-1, 3), np.arange(39).reshape(-1, 3)))
    assert codes(part, mended=True) == {"facet-without-area"}
    assert codes(part, mended=False) == set()
    assert part.soundness.facets == 12
    assert part.soundness.volume_mm3 == pytest.approx(6000.0, rel=1e-12)
    # On a box with a hole they stay, and what is refused is what the file holds.
    holed = np.concatenate([corners[:-1], flat])
    part = part_from_mesh(trimesh.Trimesh(holed.reshape(-1, 3), np.arange(36).reshape(-1, 3)))
    assert part.soundness.facets == 12
    assert codes(part, mended=False) >= {"open-edge"}
    assert part.mends == ()


def test_bodies_that_share_a_face_are_one_and_nothing_is_turned() -> None:
    """Three cubes in a row, each two with a face in common: apart, none of them is closed."""
    row = [trimesh.creation.box((10, 10, 10)).apply_translation((x, 0, 0)) for x in (0, 10, 20)]
    part = part_from_mesh(trimesh.util.concatenate(row))
    assert part.soundness.bodies == 1
    assert part.soundness.volume_mm3 == pytest.approx(3000.0)
    assert codes(part, mended=True) == set()
    assert codes(part, mended=False) == {"crowded-edge"}


def test_loose_facets_are_found_with_their_place() -> None:
    """Two facets back to back, a body by themselves: no volume, nothing that prints."""
    box = trimesh.creation.box((10, 10, 10))
    loose = [[8, 9, 10], [10, 9, 8]]
    vertices = np.vstack([box.vertices, [[20, 0, 0], [29, 0, 0], [20, 3, 0]]])
    part = part_from_mesh(trimesh.Trimesh(vertices, [*box.faces, *loose], process=False))
    assert codes(part, mended=False) == {"wall-without-thickness"}
    assert any("x 23.00, y 1.00, z 0.00 mm" in text for text in part.warnings)
    assert part.soundness.volume_mm3 == pytest.approx(1000.0)


def test_overlapping_bodies_are_refused_with_place_and_choices() -> None:
    """Two cubes that share a column of 5 x 5 x 10 mm about (2.5, 2.5, 0)."""
    one, other = trimesh.creation.box((10, 10, 10)), trimesh.creation.box((10, 10, 10))
    other.apply_translation((5.0, 5.0, 0.0))
    part = part_from_mesh(trimesh.util.concatenate([one, other]))
    with pytest.raises(MeshError, match=r"250 mm3 about x 2\.50, y 2\.50, z 0\.00") as refusal:
        part.require_solid()
    assert {option.name for option in refusal.value.options} == {"UNITE", "KEEP"}
    part.require_closed()
    assert "volume from 2000.0 to 1750.0 mm3" in part.united().mends[-1]
