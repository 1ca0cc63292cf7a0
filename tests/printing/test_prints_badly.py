"""What prints badly: closed forms of simple shapes, and shapes that must not cry wolf."""

from __future__ import annotations

import math

import pytest
import trimesh
from manifold3d import Manifold

from shrinkrule import Printer
from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.printing import PrintFinding, PrintKind, look_at_print

PRINTER = Printer.from_nozzle(0.6)
SPACING = 0.66 / 2
"""Samples lie half a bead apart: a reach is known to that."""


def bar(low: tuple[float, float, float], high: tuple[float, float, float]) -> Manifold:
    size = [b - a for a, b in zip(low, high, strict=True)]
    return Manifold.cube(size).translate(low)


def rod(radius: float, height: float, at: tuple[float, float, float]) -> Manifold:
    return Manifold.cylinder(height, radius, radius, 64).translate(at)


def found(*solids: Manifold) -> list[PrintFinding]:
    whole = solids[0]
    for other in solids[1:]:
        whole = whole + other
    return list(look_at_print(mesh_from_solid(whole), PRINTER).findings)


def test_an_arm_reaches_out_by_its_length() -> None:
    """A column 6 mm square with an arm of 12 mm: an underside of 12 x 6 mm that nothing holds."""
    (arm,) = found(bar((0, 0, 0), (6, 6, 20)), bar((6, 0, 16), (18, 6, 20)))
    assert arm.kind is PrintKind.UNHELD_UNDERSIDE
    assert arm.measure == pytest.approx(12.0, abs=SPACING)
    assert arm.position[0] == pytest.approx(18.0, abs=SPACING)
    assert arm.position[2] == pytest.approx(16.0, abs=1e-4)
    # What lies within two beads of the column is carried.
    assert arm.area_mm2 == pytest.approx(6.0 * (12.0 - 2 * 0.66), abs=6.0 * 2 * SPACING)


@pytest.mark.parametrize(("span", "kinds"), [(8.0, []), (14.0, [PrintKind.LONG_SPAN])])
def test_what_is_held_on_both_sides_is_a_span(span: float, kinds: list[PrintKind]) -> None:
    bridge = found(
        bar((0, 0, 0), (5, 8, 10)),
        bar((5 + span, 0, 0), (10 + span, 8, 10)),
        bar((0, 0, 7), (10 + span, 8, 10)),
    )
    assert [finding.kind for finding in bridge] == kinds
    if kinds:
        assert bridge[0].measure == pytest.approx(span, rel=1e-4)
        assert bridge[0].area_mm2 < 8.0 * span


@pytest.mark.parametrize(("degrees", "flagged"), [(50, False), (45, False), (40, True), (20, True)])
def test_undersides_flatter_than_45_degrees_count(degrees: float, flagged: bool) -> None:
    """A cone that flares upward from a stem, its underside so many degrees from level."""
    rise = 8.0 * math.tan(math.radians(degrees))
    flare = Manifold.cylinder(rise, 4.0, 12.0, 64).translate((0, 0, 6.0))
    kinds = {finding.kind for finding in found(rod(4.0, 7.0, (0, 0, 0)), flare)}
    assert (PrintKind.UNHELD_UNDERSIDE in kinds) is flagged


def test_a_level_bore_and_a_small_ledge_are_left_alone() -> None:
    """A bore of 8 mm spans 8 sin 45 degrees = 5.7 mm; a ledge of 1 mm is carried by its beads."""
    bore = rod(4.0, 40, (0, 0, -20)).rotate((90, 0, 0)).translate((0, 0, 8))
    assert found(bar((-10, -10, 0), (10, 10, 16)) - bore) == []
    assert found(bar((0, 0, 0), (10, 10, 10)), bar((0, 0, 10), (11, 10, 14))) == []


def test_a_hook_begins_in_the_air() -> None:
    """Its tip hangs 5 mm above the plate, and is 3 x 4 mm."""
    hook = found(
        bar((0, 0, 0), (4, 4, 14)), bar((0, 0, 10), (12, 4, 14)), bar((9, 0, 5), (12, 4, 12))
    )
    starts = [finding for finding in hook if finding.kind is PrintKind.STARTS_IN_AIR]
    (tip,) = starts
    assert tip.measure == pytest.approx(5.0, abs=1e-3)
    assert tip.area_mm2 == pytest.approx(12.0)
    assert tip.position == pytest.approx((10.5, 2.0, 5.0), abs=0.6)


def test_a_ball_begins_in_the_air_and_not_on_another_body() -> None:
    """Above a plate by 4 mm it hangs; a block that lies on the plate does not."""
    plate = trimesh.creation.box((20, 20, 2)).apply_translation((0, 0, 1))
    ball = trimesh.creation.icosphere(subdivisions=3, radius=3.0).apply_translation((0, 0, 9))
    both = trimesh.util.concatenate([plate, ball])
    (start,) = [
        f for f in look_at_print(both, PRINTER).findings if f.kind is PrintKind.STARTS_IN_AIR
    ]
    assert start.measure == pytest.approx(4.0, abs=0.02)
    block = trimesh.creation.box((6, 6, 6)).apply_translation((0, 0, 5))
    assert look_at_print(trimesh.util.concatenate([plate, block]), PRINTER).findings == ()


def test_a_cup_is_no_start_in_air() -> None:
    """The bottom of its inside is a lowest place too, but of the air in it."""
    assert found(rod(10, 15, (0, 0, 0)) - rod(8, 15, (0, 0, 2))) == []


def test_a_ball_on_the_plate_reaches_out_from_its_foot() -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=10.0).apply_translation((0, 0, 10))
    (below,) = look_at_print(ball, PRINTER).findings
    assert below.kind is PrintKind.UNHELD_UNDERSIDE
    # From where it is a layer of 0.3 mm high, sqrt(2 * 10 * 0.3) = 2.4 mm, to 10 sin 44 degrees.
    assert below.measure == pytest.approx(10 * math.sin(math.radians(44)) - 2.4, abs=0.9)


def test_slenderness_of_pins_and_walls() -> None:
    """A strip is as stiff as it is thick; a disk of radius r as a strip of sqrt(3) r."""
    base = bar((-10, -10, 0), (10, 10, 3))
    (wall,) = found(base, bar((-8, -0.8, 0), (8, 0.8, 33)))
    assert wall.kind is PrintKind.SLENDER
    assert wall.measure == pytest.approx(30 / 1.6, rel=0.05)  # heights are known to a slice
    (pin,) = found(base, rod(1.0, 33, (0, 0, 0)))
    assert pin.measure == pytest.approx(30 / math.sqrt(3), rel=0.05)
    # A tube of that wall holds itself, and so does an angle.
    assert found(base, rod(6, 33, (0, 0, 0)) - rod(4.4, 40, (0, 0, 0))) == []
    assert found(bar((0, 0, 0), (12, 1.6, 30)), bar((0, 0, 0), (1.6, 12, 30))) == []
    # A cone is not called by its tip.
    assert found(Manifold.cylinder(30, 8, 0.2, 64)) == []


def test_a_closed_hollow_has_its_volume() -> None:
    hollow = bar((0, 0, 0), (20, 20, 20)) - bar((6, 6, 6), (14, 14, 14))
    (inside,) = found(hollow)
    assert inside.kind is PrintKind.CLOSED_HOLLOW
    assert inside.measure == pytest.approx(512.0)
    assert inside.position == pytest.approx((10.0, 10.0, 10.0))
    vented = hollow - rod(1.5, 10, (10, 10, -1))
    assert PrintKind.CLOSED_HOLLOW not in {finding.kind for finding in found(vented)}
