"""Narrow air by balls: slots, holes, grooves and clearances of known width, cut from a block."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection, Manifold

from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.printer import Printer
from shrinkrule.walls import FindingKind, Rule, check_walls
from walls.planted import sound_part

PRINTER = Printer(nozzle_mm=0.6, bead_width_mm=0.66, layer_height_mm=0.3)
BLOCK = Manifold.cube((30.0, 20.0, 10.0), center=True)
ROUND = 32
ACROSS_FLATS = np.cos(np.pi / ROUND)


def air(*cuts: Manifold) -> list[tuple[FindingKind, float]]:
    """Kinds and widths of the narrow air in a block with these cuts."""
    solid = BLOCK
    for cut in cuts:
        solid -= cut
    kinds = {FindingKind.NARROW_GAP, FindingKind.CLOSING_HOLE}
    report = check_walls(mesh_from_solid(solid), PRINTER)
    return [(f.kind, f.smallest_mm) for f in report.findings if f.kind in kinds]


def slot(width: float, depth: float = 20.0) -> Manifold:
    """Slot across Y, open at the top down to ``depth`` below it."""
    cut = Manifold.cube((width, 10.0, 2.0 * depth), center=True)
    return cut.translate((0.0, 0.0, 5.0))


def bore(diameter: float) -> Manifold:
    """Bore along Z of 32 flats; ``diameter`` is across corners."""
    return Manifold.cylinder(40.0, diameter / 2, diameter / 2, ROUND, center=True)


def groove(mouth: float, depth: float) -> Manifold:
    """Pointed groove along Y in the top."""
    outline = [(0.0, -depth), (mouth / 2, 0.0), (mouth / 2, 1.0), (-mouth / 2, 1.0)]
    outline.append((-mouth / 2, 0.0))
    return (
        CrossSection([outline]).extrude(40.0).rotate((90.0, 0.0, 0.0)).translate((0.0, 20.0, 5.0))
    )


@pytest.mark.parametrize("tilt", [0.0, 45.0, 90.0])
def test_a_slot_under_a_bead_is_one_gap_however_it_lies(tilt: float) -> None:
    cut = Manifold.cube((0.5, 30.0, 60.0), center=True).rotate((0.0, tilt, 0.0))
    cut ^= Manifold.cube((16.0, 16.0, 40.0), center=True)
    ((kind, width),) = air(cut)
    assert kind is FindingKind.NARROW_GAP
    assert width == pytest.approx(0.5, rel=1e-3)


@pytest.mark.parametrize("depth", [0.5, 3.0])
def test_a_blind_slot_is_one_gap(depth: float) -> None:
    ((kind, width),) = air(slot(0.4, depth))
    assert kind is FindingKind.NARROW_GAP
    assert width == pytest.approx(0.4, rel=1e-3)


def test_a_slot_wider_than_a_bead_stays_open() -> None:
    assert air(slot(0.67)) == []
    assert air(slot(0.66)) == []


@pytest.mark.parametrize("turn", [(0.0, 0.0, 0.0), (0.0, 90.0, 0.0), (20.0, 60.0, 0.0)])
def test_a_narrow_bore_is_one_closing_hole(turn: tuple[float, float, float]) -> None:
    ((kind, width),) = air(bore(0.5).rotate(turn))
    assert kind is FindingKind.CLOSING_HOLE
    assert width == pytest.approx(0.5 * ACROSS_FLATS, rel=2e-3)


def test_a_square_hole_is_one_closing_hole() -> None:
    hole = Manifold.cube((0.5, 0.55, 40.0), center=True).rotate((10.0, 20.0, 30.0))
    ((kind, width),) = air(hole)
    assert kind is FindingKind.CLOSING_HOLE
    assert width == pytest.approx(0.5, rel=1e-3)


def test_a_bore_wider_than_a_bead_stays_open() -> None:
    assert air(bore(0.68)) == []


def test_a_round_clearance_is_a_gap_not_a_hole() -> None:
    def post(radius: float) -> Manifold:
        return Manifold.cylinder(8.0, radius, radius, 64)

    ((kind, width),) = air(post(4.0) - post(3.6))
    assert kind is FindingKind.NARROW_GAP
    assert width == pytest.approx(0.4 * np.cos(np.pi / 64), rel=5e-3)


@pytest.mark.parametrize("mouth", [2.0, 4.0, 8.0])
def test_the_root_of_an_open_groove_is_no_gap_to_the_balls(mouth: float) -> None:
    report = check_walls(mesh_from_solid(BLOCK - groove(mouth, 3.0)), PRINTER)
    assert not [f for f in report.findings if f.rule is not Rule.LAYERS]


def test_a_groove_with_a_mouth_under_a_bead_is_a_gap() -> None:
    ((kind, _),) = air(groove(0.5, 4.0))
    assert kind is FindingKind.NARROW_GAP


@pytest.mark.parametrize("mouth", [0.4, 0.6, 1.0])
def test_an_engraved_line_is_no_gap(mouth: float) -> None:
    """A V of 60 degrees: its root fuses, as the root of any groove does."""
    depth = mouth / 2 / np.tan(np.radians(30.0))
    report = check_walls(mesh_from_solid(BLOCK - groove(mouth, depth)), PRINTER)
    assert not [f for f in report.findings if f.rule is not Rule.LAYERS]


def test_an_inner_corner_is_no_gap() -> None:
    assert air(Manifold.cube((10.0, 10.0, 20.0)).translate((8.0, 3.0, -10.0))) == []


def test_bodies_a_little_apart_fuse() -> None:
    near = mesh_from_solid(BLOCK)
    pair = trimesh.util.concatenate([near, near.copy().apply_translation((30.3, 0.0, 0.0))])
    found = [f for f in check_walls(pair, PRINTER).findings if f.kind is FindingKind.NARROW_GAP]
    assert [f.smallest_mm for f in found] == [pytest.approx(0.3, rel=1e-3)]


@pytest.mark.parametrize("seed", [58, 91, 136, 149, 190])
def test_slender_facets_and_facets_without_area_make_no_gap(seed: int) -> None:
    """Sound parts whose surfaces are cut into slender facets, or hold facets without area."""
    part = sound_part(seed)
    kinds = {f.kind for f in check_walls(part.mesh, part.printer).findings}
    assert not kinds & {FindingKind.NARROW_GAP, FindingKind.CLOSING_HOLE}
