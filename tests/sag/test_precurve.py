"""Refining a surface, and pre-curving a part so that it fires straight."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sag.solids import bar, bridge, two_armed_lever, united
from shrinkrule.errors import SettingError
from shrinkrule.report.sag.words import sag_text
from shrinkrule.sag import (
    Base,
    PrecurveResult,
    SagMaterial,
    SagSettings,
    Saving,
    precurve,
    refine_for_bending,
    solve_sag,
)
from shrinkrule.sag.precurve import lay_on_plate, what_helps
from shrinkrule.sag.solve import sag_on_grid
from shrinkrule.sag.voxels.grid import furnace_turn, lay_grid

sides = st.floats(0.5, 30.0)


@settings(max_examples=30, deadline=None)
@given(x=sides, y=sides, z=sides, share=st.floats(0.05, 0.6))
@example(x=1.0, y=17.0, z=16.5, share=0.0546875)  # middles crowded: 6.8 degrees
def test_refined_boxes_are_sound_and_unchanged(x: float, y: float, z: float, share: float) -> None:
    box = bar((0, 0, 0), (x, y, z))
    longest = max(share * max(x, y, z), 0.02 * float(np.sqrt(box.area)))
    fine = refine_for_bending(box, longest)
    _sound_and_unchanged(box, fine, longest)
    # Twelve facets of a bar are slivers; after refinement none is sharper than 20 degrees.
    ratio = longest / min(x, y, z)
    if ratio < 1.0:
        assert np.degrees(fine.face_angles.min()) > 20.0


@pytest.mark.parametrize(
    "part",
    [
        trimesh.creation.annulus(5.0, 20.0, 2.0, sections=48),
        trimesh.creation.cylinder(3.0, 40.0, sections=64),
        trimesh.creation.icosphere(2, 10.0),
        two_armed_lever(),
    ],
    ids=["ring", "rod", "ball", "lever"],
)
@pytest.mark.parametrize("longest", [5.0, 1.5])
def test_refined_parts_are_sound_and_unchanged(part: trimesh.Trimesh, longest: float) -> None:
    _sound_and_unchanged(part, refine_for_bending(part, longest), longest)


def _sound_and_unchanged(part: trimesh.Trimesh, fine: trimesh.Trimesh, longest: float) -> None:
    """No crack and no T-joint: every edge has two facets, and no vertex lies inside an edge."""
    assert fine.is_watertight
    assert fine.is_winding_consistent
    assert fine.edges_unique_length.max() <= longest * (1.0 + 1e-9)
    assert fine.volume == pytest.approx(part.volume, rel=1e-6)
    assert fine.area == pytest.approx(part.area, rel=1e-6)
    assert fine.vertices[: len(part.vertices)] == pytest.approx(part.vertices)
    assert fine.area_faces.min() > 0.0


def test_slivers_end() -> None:
    """A box with a corner's facets drawn out to a line: rounding decides which way they face."""
    box = bar((0, 0, 0), (40, 10, 5))
    vertices, faces = np.asarray(box.vertices), np.asarray(box.faces)
    edge = int(np.linalg.norm(vertices[faces[:, 1]] - vertices[faces[:, 0]], axis=1).argmax())
    a, b, c = faces[edge]
    on_the_edge = 0.3 * vertices[a] + 0.7 * vertices[b]
    new = len(vertices)
    faces = np.concatenate(
        [np.delete(faces, edge, axis=0), [[a, new, c], [new, b, c], [a, b, new]]]
    )
    part = trimesh.Trimesh(np.concatenate([vertices, [on_the_edge]]), faces, process=False)
    assert part.is_watertight
    fine = refine_for_bending(part, 1.0)
    assert fine.is_watertight
    assert fine.edges_unique_length.max() <= 1.0
    assert fine.volume == pytest.approx(part.volume, rel=1e-6)


@pytest.mark.parametrize("longest", [0.0, -1.0, float("nan"), 1e-4])
def test_refining_without_end_is_refused(longest: float) -> None:
    with pytest.raises(SettingError):
        refine_for_bending(bar((0, 0, 0), (60, 40, 20)), longest)


SOFT = SagMaterial(8_000.0, 800.0, 0.46, 7.0)


@pytest.fixture(scope="module")
def curved_bridge() -> PrecurveResult:
    """A bridge that sags by a tenth of its span's thickness, pre-curved."""
    return precurve(bridge(), SOFT, SagSettings(brick_mm=0.8))


def remaining_after_independent_firing(
    result: PrecurveResult, material: SagMaterial, settings: SagSettings, brick: float
) -> float:
    """What remains of a part's displacement when the pre-curved part is fired on a finer grid."""
    assert result.mesh.is_watertight
    turn = furnace_turn(result.wanted, settings.up)
    grid = lay_grid(result.mesh, turn, brick, slack=1.0)
    field = sag_on_grid(result.mesh, grid, material, settings).field
    shape, wanted = np.asarray(result.mesh.vertices), np.asarray(result.wanted.vertices)
    fired = lay_on_plate(shape + field.at(shape), shape, wanted, settings.up)
    before = np.linalg.norm(result.before.displacement, axis=1).max()
    return float(np.linalg.norm(fired - wanted, axis=1).max() / before)


@pytest.mark.parametrize("up", [(0.0, 0.0, 1.0), (0.6, 0.0, 0.8)], ids=["upright", "leaning"])
def test_round_trip_of_a_plate_with_a_post(up: tuple[float, float, float]) -> None:
    """Fired on a grid finer by 1.6, less than a tenth of the displacement is left."""
    lever = two_armed_lever()
    if up[0]:
        turn = trimesh.geometry.align_vectors([0, 0, 1], up)
        lever.apply_transform(turn)
    settings = SagSettings(furnace_up=up, brick_mm=0.7)
    result = precurve(lever, SOFT, settings)
    assert remaining_after_independent_firing(result, SOFT, settings, 0.44) < 0.10


def test_round_trip_of_a_bridge_whose_feet_rock(curved_bridge: PrecurveResult) -> None:
    assert remaining_after_independent_firing(curved_bridge, SOFT, SagSettings(), 0.5) < 0.10


def test_round_trip_of_bodies_closer_than_a_brick() -> None:
    """Two plates on posts that nearly touch: each comes out as wanted, in its own place."""
    lever, other = two_armed_lever(), two_armed_lever()
    other.apply_translation([0.0, 6.3, 0.0])
    pair = trimesh.util.concatenate([lever, other])
    result = precurve(pair, SOFT, SagSettings(brick_mm=0.7))
    assert result.wanted.vertices[: len(pair.vertices)] == pytest.approx(pair.vertices)
    assert result.wanted.volume == pytest.approx(pair.volume, rel=1e-6)
    first = np.asarray(result.mesh.vertices)[:, 1] < 3.15
    faces = first[result.mesh.faces].all(axis=1)
    assert faces.sum() == len(faces) / 2
    alone, wanted = (
        mesh.submesh([np.flatnonzero(faces)], append=True, repair=False)
        for mesh in (result.mesh, result.wanted)
    )
    half = replace(result, mesh=alone, wanted=wanted)
    assert remaining_after_independent_firing(half, SOFT, SagSettings(), 0.44) < 0.10


def test_precurved_span_is_arched_by_its_sag(curved_bridge: PrecurveResult) -> None:
    result = curved_bridge
    assert result.verdict is Saving.SAVED
    assert result.remaining_mm < 0.02
    # Seen from the lowest point of the feet, the arch is as high as the span would sag.
    top = np.abs(result.wanted.vertices - [20.0, 0.0, 12.0]).sum(axis=1).argmin()
    place = result.wanted.vertices[top]
    rise = (result.mesh.vertices[top] - place)[2]
    sag = -result.before.field.at(place[None])[0, 2]
    assert rise == pytest.approx(sag, rel=0.1)
    assert len(result.mesh.faces) > len(bridge().faces)


def test_flat_base_stays_flat(curved_bridge: PrecurveResult) -> None:
    flat = precurve(bridge(), SOFT, SagSettings(brick_mm=1.0, base=Base.FLAT))
    assert curved_bridge.mesh.bounds[0, 2] < -1e-3
    assert flat.mesh.bounds[0, 2] == pytest.approx(0.0, abs=1e-9)


def test_stiff_part_needs_nothing() -> None:
    result = precurve(bridge(), SagMaterial(1e6, 0.0, 0.46, 7.0), SagSettings(brick_mm=1.0))
    assert result.verdict is Saving.NOT_NEEDED
    assert result.rounds == 0
    assert np.array_equal(result.mesh.vertices, result.wanted.vertices)


def test_hopeless_part_comes_with_what_would_help() -> None:
    """A wall that sags by more than its thickness; h = (10 sag h0^2)^(1/3) would sag h / 10."""
    result = precurve(bridge(), SagMaterial(300.0, 30.0, 0.46, 7.0), SagSettings(brick_mm=1.0))
    assert result.verdict is Saving.HOPELESS
    assert result.rounds == 0
    assert "more than its thinnest wall" in result.advice[0]
    words = " ".join(result.advice)
    assert "another way up" in words
    assert "setter block" in words
    thicker = (10.0 * result.sag_before_mm * 4.0) ** (1.0 / 3.0)
    assert f"{thicker:.2g} instead of 2 mm" in words
    # How far a part slumps is not known: nothing is computed from it.
    slumps = replace(result.before, largest_strain=0.3)
    assert "instead of" not in " ".join(what_helps(slumps, 2.0))
    # It is not bent, so it is split only as its size asks: an eighth of 40 mm.
    assert len(result.mesh.faces) == len(refine_for_bending(bridge(), 5.0).faces)
    assert len(result.before.displacement) == len(result.mesh.vertices)


def test_part_that_sags_down_to_the_plate_is_hopeless() -> None:
    low = trimesh.boolean.union(
        [bar((0, 0, 0), (4, 8, 3)), bar((36, 0, 0), (40, 8, 3)), bar((0, 0, 1), (40, 8, 3))],
        engine="manifold",
    )
    result = precurve(low, SagMaterial(1_000.0, 0.0, 0.46, 7.0), SagSettings(brick_mm=0.5))
    assert result.verdict is Saving.HOPELESS
    assert "onto what lies below" in result.advice[0]
    # The plate stops it: no interval follows from its modulus.
    known = replace(result.before, modulus_factor=1.3)
    assert known.comes_down
    assert known.interval95_mm is None
    assert "95 %" not in sag_text(replace(result, before=known))
    assert replace(known, drop_to_plate_mm=0.0).interval95_mm is not None


def test_part_that_stands_on_a_point_is_to_be_bedded() -> None:
    """A ball is flattened where it stands, whatever shape it is given; a cube stands on its face.

    Hertz: its footing has the radius (3 F R (1 - nu^2) / 4 E)^(1/3), a small share of its plan.
    """
    material = SagMaterial(900.0, 0.0, 0.3, 7.0)
    ball = trimesh.creation.icosphere(3, 10.0)
    result = precurve(ball, material, SagSettings(brick_mm=1.0, tolerance_mm=0.001))
    force = material.weight_over_modulus * float(ball.volume)
    footing = np.pi * (0.75 * force * 10.0 * (1.0 - 0.3**2)) ** (2.0 / 3.0)
    assert result.before.footing_share < 4.0 * footing / 400.0
    assert "bed its underside" in " ".join(result.advice)
    cube = bar((0, 0, 0), (10, 10, 10))
    stands = solve_sag(cube, material, SagSettings(brick_mm=1.0))
    assert stands.footing_share == pytest.approx(1.0, abs=0.25)


def test_precurving_uses_the_sag_of_the_part_as_given(curved_bridge: PrecurveResult) -> None:
    given_sag = solve_sag(bridge(), SOFT, SagSettings(brick_mm=0.8))
    result = curved_bridge
    assert result.sag_before_mm == pytest.approx(given_sag.largest_sag_mm, rel=1e-6)
    assert result.remaining == pytest.approx(result.fired - result.wanted.vertices)


def two_shelves(gap: float) -> trimesh.Trimesh:
    """A back of 6 mm with two shelves of 22 mm, the upper 2 mm thick, over a plate below both."""
    return united(
        bar((0, 0, 0), (28, 8, 4)),
        bar((0, 0, 0), (6, 8, 12)),
        bar((0, 0, 4 + gap), (28, 8, 6 + gap)),
    )


@pytest.mark.parametrize(("gap", "unknowns"), [(0.5, 30_000), (2.0, 25_000)])
def test_a_shelf_that_comes_down_on_the_one_below_is_hopeless(gap: float, unknowns: int) -> None:
    """The modulus is that at which the upper shelf sags by a little more or less than the gap.

    The bricks are 0.6 mm high, higher than the narrow gap.
    """
    stiff = SagMaterial(1e6, 0.0, 0.46, 7.0)
    settings_ = SagSettings(max_unknowns=unknowns)
    sag = solve_sag(two_shelves(gap), stiff, settings_).largest_sag_mm
    for share, verdict in ((0.8, Saving.SAVED), (1.3, Saving.HOPELESS)):
        soft = SagMaterial(1e6 * sag / (share * gap), 0.0, 0.46, 7.0)
        result = precurve(two_shelves(gap), soft, replace(settings_, wall_mm=10.0))
        self_contact = result.before.self_contact
        assert self_contact is not None
        assert self_contact.gap_mm == pytest.approx(gap, rel=1e-3)
        assert self_contact.closes_mm == pytest.approx(share * gap, rel=0.05)
        assert self_contact.at[0] > 26.0
        assert any("the gap of" in warning for warning in result.before.warnings)
        assert (result.verdict is Saving.HOPELESS) == (verdict is Saving.HOPELESS)
    assert any("onto what lies below" in reason for reason in result.advice)
