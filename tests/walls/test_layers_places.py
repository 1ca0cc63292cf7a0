"""Places that are easy to miss, to misname or to split, and solids that must stay clean.

Bead 0.6, layer 0.2, floors of three layers. Columns tell heights exactly; what they tell
along the layer is good to their spacing, a fifth of a bead.
"""

from __future__ import annotations

from collections.abc import Callable

import manifold3d
import numpy as np
import pytest
from manifold3d import CrossSection, Manifold

from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.printer import Printer
from shrinkrule.walls import Finding, FindingKind, WallLimits, layer_findings

BEAD = 0.6
LAYER = 0.2


def block(x: float, y: float, z: float, at: tuple[float, float, float] = (0, 0, 0)) -> Manifold:
    """Box with its lower face's middle at ``at``."""
    return Manifold.cube((x, y, z)).translate((at[0] - x / 2, at[1] - y / 2, at[2]))


def findings(solid: Manifold) -> tuple[Finding, ...]:
    report = layer_findings(mesh_from_solid(solid), Printer(0.6, BEAD, LAYER), WallLimits())
    assert report.notes == ()
    assert report.trusted
    return report.findings


@pytest.mark.parametrize("degrees", [0.0, 17.0, 45.0])
@pytest.mark.parametrize("length", [0.6, 0.75, 1.0, 1.5])
@pytest.mark.parametrize("beads", [0.25, 0.5, 0.75, 0.9])
def test_short_stub(beads: float, length: float, degrees: float) -> None:
    body = block(10, 10, 4) + block(beads * BEAD, 2 * length * BEAD, 4, (0, 5, 0))
    (stub,) = findings(body.rotate((0, 0, degrees)))
    assert stub.kind is FindingKind.THIN_WALL
    assert stub.smallest_mm == pytest.approx(beads * BEAD, abs=1e-3)


@pytest.mark.parametrize("thick", [0.04, 0.1, 0.15, 0.19])
@pytest.mark.parametrize("low", [2.0, 2.05, 2.1, 2.13, 2.19])
def test_floor_under_a_layer_wherever_the_cuts_are(low: float, thick: float) -> None:
    high = low + 4.0 + thick + 3.0
    hollow = block(16, 16, high) - block(10, 10, 4.0, (0, 0, low + thick))
    (floor,) = findings(hollow - block(10, 10, low))
    assert floor.kind is FindingKind.THIN_FLOOR
    assert floor.smallest_mm == pytest.approx(thick, abs=1e-6)
    assert floor.height_range_mm == pytest.approx((low, low + thick), abs=1e-6)


@pytest.mark.parametrize("turn", [0.0, 33.0])
@pytest.mark.parametrize("degrees", [5.0, 10.0, 12.0, 15.0, 20.0])
@pytest.mark.parametrize("thick", [0.15, 0.4])
def test_tilted_sheet_is_one_floor(thick: float, degrees: float, turn: float) -> None:
    (floor,) = findings(block(20, 20, thick).rotate((degrees, 0.4 * degrees, turn)))
    assert floor.kind is FindingKind.THIN_FLOOR
    tilt = np.cos(np.radians(degrees)) * np.cos(np.radians(0.4 * degrees))
    # Columns run along Z, the sheet's normal leans.
    assert floor.smallest_mm == pytest.approx(thick / tilt, rel=1e-3)
    # Within a column's spacing of its edges a floor is not counted.
    assert floor.volume_mm3 == pytest.approx(400 * thick, rel=0.1)


@pytest.mark.parametrize("turn", [0.0, 33.0])
@pytest.mark.parametrize("degrees", [30.0, 40.0, 50.0, 59.0])
@pytest.mark.parametrize("thick", [0.15, 0.3])
def test_leaning_wall_is_one_place(thick: float, degrees: float, turn: float) -> None:
    (wall,) = findings(block(20, thick, 20).rotate((degrees, 0, turn)))
    assert wall.kind is FindingKind.THIN_WALL
    assert wall.smallest_mm == pytest.approx(thick / np.cos(np.radians(degrees)), rel=1e-2)
    assert wall.volume_mm3 == pytest.approx(20 * thick * 20, rel=0.03)


def test_leaning_walls_side_by_side_stay_apart() -> None:
    one = block(20, 0.15, 20).rotate((45, 0, 0))
    found = findings(one + one.translate((0, 2.0, 0)))
    assert [wall.kind for wall in found] == [FindingKind.THIN_WALL] * 2


def test_upright_walls_that_end_at_different_heights_stay_apart() -> None:
    plates = block(8, 0.3, 5) + block(8, 0.3, 8, (0, 0.95, 0))
    walls = [wall for wall in findings(plates) if wall.kind is FindingKind.THIN_WALL]
    assert sorted(round(wall.height_range_mm[1], 6) for wall in walls if wall.height_range_mm) == [
        5.0,
        8.0,
    ]


def thread() -> Manifold:
    """Ridges with tips wider than two beads, turned about the axis."""
    profile = [(0.0, 0.0)]
    for low in 3.0 * np.arange(5):
        profile += [(6, low), (6, low + 0.6), (7.2, low + 0.9), (7.2, low + 2.2), (6, low + 2.5)]
    profile += [(6, 15.5), (0, 15.5)]
    return CrossSection([np.array(profile)]).revolve(96)


def gear() -> Manifold:
    tooth = CrossSection([np.array([(9, -1.4), (12, -0.75), (12, 0.75), (9, 1.4)])])
    wheel = CrossSection.circle(10, 96) - CrossSection.circle(3, 64)
    return (wheel + sum((tooth.rotate(22.5 * k) for k in range(16)), CrossSection())).extrude(5)


SOLIDS: dict[str, Callable[[], Manifold]] = {
    "cube": lambda: block(10, 10, 10),
    "cylinder": lambda: Manifold.cylinder(12, 5, 5, 96),
    "ball": lambda: Manifold.sphere(6, 96),
    "cone": lambda: Manifold.cylinder(9, 7, 0, 96),
    "fillets": lambda: (
        CrossSection.square((10, 7), True).offset(1.5, manifold3d.JoinType.Round, 2, 64).extrude(6)
    ),
    "thread": thread,
    "gear": gear,
    "tetrahedron": lambda: Manifold.tetrahedron().scale((8, 8, 8)),
    "pyramid": lambda: Manifold.cylinder(6, 8, 0, 4),
    "ring": lambda: CrossSection.circle(2, 48).translate((7, 0)).revolve(96),
    "hollow ball": lambda: Manifold.sphere(9, 128) - Manifold.sphere(7.5, 128),
    "bolt": lambda: Manifold.cylinder(4, 6, 6, 6) + Manifold.cylinder(12, 3, 3, 64),
    "low steps": lambda: (
        block(14, 14, 3) + block(10, 10, 0.1, (0, 0, 3)) + block(6, 6, 0.25, (0, 0, 3.1))
    ),
    "holes": lambda: (
        block(16, 16, 5)
        - Manifold.cylinder(20, 3, 3, 64, True)
        - Manifold.cylinder(30, 1, 1, 48, True).rotate((90, 0, 0)).translate((5.5, 0, 2.5))
    ),
}


@pytest.mark.parametrize("name", SOLIDS)
def test_sound_solids_are_clean_whichever_way_they_lie(name: str) -> None:
    solid, rng = SOLIDS[name](), np.random.default_rng(len(name))
    for turn in ((0, 0, 0), (90, 0, 0), *rng.uniform(0.0, 360.0, (3, 3))):
        assert findings(solid.rotate(tuple(float(angle) for angle in turn))) == ()
