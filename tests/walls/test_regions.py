"""Regions named by how their area is held; what weighs nothing; what layers and balls agree on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection, Manifold

from shrinkrule.cli.main import main
from shrinkrule.files.stl import stl_bytes
from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.printer import Printer
from shrinkrule.walls import Finding, FindingKind, WallLimits, Weight, check_walls
from walls.shapes import box

BEAD = 0.66
PRINTER = Printer(nozzle_mm=0.6, bead_width_mm=BEAD, layer_height_mm=0.3)


def found(mesh: trimesh.Trimesh) -> tuple[Finding, ...]:
    return check_walls(mesh, PRINTER).findings


def upright(points: list[tuple[float, float]], long: float = 15.0) -> trimesh.Trimesh:
    """Outline in the layers, pulled up."""
    return mesh_from_solid(CrossSection([np.array(points)]).extrude(long))


def blade(degrees: float, long: float = 14.0) -> trimesh.Trimesh:
    """Wedge with an upright edge."""
    half = long * np.tan(np.radians(degrees / 2.0))
    return upright([(0.0, 0.0), (long, -half), (long, half)])


@pytest.mark.parametrize("degrees", [12.0, 20.0, 30.0])
def test_a_sharp_edge_tells_the_depth_that_a_bead_misses(degrees: float) -> None:
    """An opening by a disc of diameter b takes (b/2) (1/sin(a/2) - 1) off a wedge of angle a."""
    (edge,) = found(blade(degrees))
    assert edge.kind is FindingKind.KNIFE_EDGE
    expected = BEAD / 2.0 * (1.0 / np.sin(np.radians(degrees / 2.0)) - 1.0)
    assert edge.loss_mm == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize("degrees", [45.0, 60.0, 70.0])
def test_an_edge_that_loses_less_than_a_bead_is_not_told(degrees: float) -> None:
    assert not [f for f in found(blade(degrees, 8.0)) if f.kind is not FindingKind.THICK_SECTION]


def test_a_taper_of_less_than_ten_degrees_is_a_wall_from_where_it_is_under_its_limit() -> None:
    """Faces that meet at 6 degrees are a bead apart at 0.66 / (2 tan 3) = 6.30 mm from the edge."""
    walls = [f for f in found(blade(6.0, 20.0)) if f.kind is FindingKind.THIN_WALL]
    (wall,) = walls
    assert wall.box[1][0] - wall.box[0][0] == pytest.approx(6.30, abs=0.35)


def test_a_fin_with_a_round_rim_is_one_thin_wall_with_its_rim() -> None:
    """0.5 mm thick and 6 mm high, half a circle on top: both sides and the round add up."""
    fin = CrossSection.square((0.5, 6.0)).translate((-0.25, 0.0)) + CrossSection.circle(
        0.25, 48
    ).translate((0.0, 6.0))
    solid = fin.extrude(20.0).rotate((90.0, 0.0, 0.0)).translate((0.0, 10.0, 3.0))
    foot = Manifold.cube((10.0, 20.0, 3.2)).translate((-5.0, -10.0, 0.0))
    (wall,) = found(mesh_from_solid(solid + foot))
    assert wall.kind is FindingKind.THIN_WALL
    assert wall.smallest_mm == pytest.approx(0.5, rel=5e-3)
    around = 2 * 5.8 + np.pi * 0.25
    assert wall.area_mm2 == pytest.approx(around * 20.0 + 2 * 0.5 * 5.8, rel=0.05)


@pytest.mark.parametrize("lean", [0.0, 35.0, 90.0])
@pytest.mark.parametrize("sides", [4, 6, 24])
def test_a_wire_is_one_pin_at_any_lean_by_its_inscribed_circle(sides: int, lean: float) -> None:
    wire = Manifold.cylinder(15.0, 0.25 / np.cos(np.pi / sides), -1.0, sides)
    (pin,) = found(mesh_from_solid(wire.rotate((lean, 0.0, 20.0))))
    assert pin.kind is FindingKind.THIN_PIN
    assert pin.smallest_mm == pytest.approx(0.5, rel=5e-3)
    assert pin.limit_mm == pytest.approx(BEAD)
    assert pin.sound_mm == pytest.approx(2 * BEAD)


def test_equal_fins_spread_alike_wherever_they_were_sampled_finer() -> None:
    """Three fins of one size on a wheel, one of them along the axes."""
    fin = Manifold.cube((14.0, 0.5, 8.0)).translate((8.0, -0.25, 2.8))
    wheel = Manifold.cylinder(3.0, 30.0, -1.0, 96)
    for turn in (0.0, 43.0, 129.0):
        wheel += fin.rotate((0.0, 0.0, turn))
    spreads = np.array([finding.spread_mm for finding in found(mesh_from_solid(wheel))])
    assert len(spreads) == 3
    assert np.ptp(spreads, axis=0).max() < 1e-3


def test_a_limit_lowered_for_walls_holds_for_no_pin() -> None:
    """A wall and a wire of 0.5 mm, where walls print from 0.45 mm on."""
    wall = Manifold.cube((20.0, 0.5, 10.0))
    wire = Manifold.cylinder(10.0, 0.25, -1.0, 24).translate((10.0, 10.0, 0.0))
    lowered = WallLimits(beads_to_exist=0.45 / BEAD, pin_beads=1.0)
    kinds = {f.kind for f in check_walls(mesh_from_solid(wall + wire), PRINTER, lowered).findings}
    assert kinds == {FindingKind.SINGLE_BEAD, FindingKind.THIN_PIN}


def test_a_net_of_struts_is_one_place_through_nodes_over_the_limit() -> None:
    """Struts of 0.6 mm end in balls of 1.2 mm: the nodes print, the struts do not."""
    net = Manifold()
    for k in range(3):
        for j in range(2):
            along = Manifold.cylinder(4.0, 0.3, 0.3, 24).rotate((0.0, 90.0, 0.0))
            net += along.translate((4.0 * j, 4.0 * k, 0.0))
            across = Manifold.cylinder(4.0, 0.3, 0.3, 24).rotate((-90.0, 0.0, 0.0))
            net += across.translate((4.0 * k, 4.0 * j, 0.0))
        for j in range(3):
            net += Manifold.sphere(0.6, 32).translate((4.0 * j, 4.0 * k, 0.0))
    thin = [f for f in found(mesh_from_solid(net)) if f.kind is FindingKind.THIN_PIN]
    assert len(thin) == 1


def test_overlapping_bodies_and_the_same_united_have_the_same_thin_wall() -> None:
    """Where bodies share space the balls are blind and the layers speak; united, both do."""
    fin = Manifold.cube((0.5, 10.0, 9.0)).translate((10.0, 0.0, 5.0))
    base = Manifold.cube((30.0, 10.0, 8.0))
    apart = trimesh.util.concatenate([mesh_from_solid(base), mesh_from_solid(fin)])
    for mesh in (apart, mesh_from_solid(base + fin)):
        kinds = {f.kind for f in found(mesh)}
        assert FindingKind.THIN_WALL in kinds


def test_a_speck_of_the_mesh_weighs_nothing() -> None:
    """A fold 0.02 mm long on a block: no wall, and no reason not to make it."""
    block = box(20.0, 20.0, 6.0)
    speck = box(0.02, 0.02, 0.05).apply_translation((3.0, 2.0, 3.02))
    folded = mesh_from_solid(
        Manifold.cube((20.0, 20.0, 6.0), center=True)
        + Manifold.cube((0.02, 0.02, 0.05), center=True).translate((3.0, 2.0, 3.02))
    )
    assert all(f.kind.weight is not Weight.STOP for f in found(folded))
    assert not found(block)
    assert speck.volume < 1e-4


def test_fail_on_thin_is_no_pass_where_walls_cannot_be_trusted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    tray = box(30.0, 20.0, 6.0)
    tray.update_faces(np.arange(len(tray.faces)) > 0)
    (tmp_path / "tray.stl").write_bytes(stl_bytes(tray, "tray"))
    assert main(["walls", "tray.stl", "--fail-on-thin"]) == 1
    assert "cannot be trusted" in capsys.readouterr().err
    assert main(["walls", "tray.stl"]) == 0


def test_pictures_show_as_thin_what_findings_tell_and_nothing_else() -> None:
    """A block with a fin of 0.5 mm and an edge of 60 degrees, whose own balls are as small."""
    fin = Manifold.cube((0.5, 10.0, 9.0)).translate((4.0, 0.0, 7.0))
    edge = CrossSection([np.array([(0.0, 0.0), (8.0, -4.6188), (8.0, 4.6188)])])
    solid = Manifold.cube((20.0, 10.0, 8.0)) + fin + edge.extrude(8.0).translate((-6.0, 5.0, 0.0))
    report = check_walls(mesh_from_solid(solid), PRINTER)
    (wall,) = [f for f in report.findings if f.kind is not FindingKind.THICK_SECTION]
    red = report.shown.band == 0
    assert report.shown.band[~red].min() >= 2
    low, high = np.array(wall.box)
    points = report.shown.points[red]
    assert ((points >= low - 1e-6) & (points <= high + 1e-6)).all()
    assert report.samples.area[red].sum() == pytest.approx(wall.area_mm2, rel=1e-9)


def test_a_floor_thicker_than_two_beads_has_its_rim_too() -> None:
    """Three layers of 0.6 mm are more than two beads: 1.5 mm is a thin floor, its rim with it."""
    printer = Printer(nozzle_mm=0.6, bead_width_mm=BEAD, layer_height_mm=0.6)
    (floor,) = check_walls(box(30.0, 20.0, 1.5), printer).findings
    assert floor.kind is FindingKind.THIN_FLOOR
    assert floor.area_mm2 == pytest.approx(2 * (30.0 * 20.0 + 1.5 * (30.0 + 20.0)), rel=1e-3)
