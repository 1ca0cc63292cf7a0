"""The wall check on parts whose faults are known."""

from __future__ import annotations

import json

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold

from shrinkrule.errors import MeshError, SettingError
from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.printer import Printer
from shrinkrule.walls import Axis, FindingKind, Rule, WallLimits, check_walls
from walls.shapes import box, shell, tube, turned, wedge

PRINTER = Printer(nozzle_mm=0.6, bead_width_mm=0.66, layer_height_mm=0.3)
THIN = {FindingKind.THIN_WALL, FindingKind.SINGLE_BEAD, FindingKind.THIN_FLOOR}


def kinds(mesh: trimesh.Trimesh) -> set[FindingKind]:
    return {finding.kind for finding in check_walls(mesh, PRINTER).findings}


@pytest.mark.parametrize("seed", range(4))
def test_a_cube_has_no_thin_wall(seed: int) -> None:
    assert not kinds(turned(box(9.0, 9.0, 9.0), seed))


def test_an_upright_plate_thinner_than_a_bead_is_one_thin_wall() -> None:
    report = check_walls(box(30.0, 0.6, 20.0), PRINTER)
    (wall,) = report.findings
    assert wall.kind is FindingKind.THIN_WALL
    assert wall.axis is Axis.UPRIGHT
    assert wall.rule is Rule.BOTH
    assert wall.volume_mm3 == pytest.approx(30.0 * 0.6 * 20.0, rel=0.05)
    assert wall.smallest_mm == pytest.approx(0.6, rel=1e-6)
    assert wall.limit_mm == pytest.approx(0.66)
    # All of it is the wall, its rim too.
    assert wall.area_mm2 == pytest.approx(2 * (30.0 * 20.0 + 0.6 * (30.0 + 20.0)), rel=1e-3)
    np.testing.assert_allclose(np.abs(wall.direction), [0.0, 1.0, 0.0], atol=1e-6)
    assert report.trusted
    assert report.measured_fraction == 1.0


def test_a_plate_between_one_and_two_beads_is_a_single_bead() -> None:
    assert kinds(box(30.0, 1.0, 20.0)) == {FindingKind.SINGLE_BEAD}


def test_a_plate_drawn_exactly_at_the_limit_passes() -> None:
    assert not kinds(box(30.0, 1.32, 20.0))


def test_the_limit_of_a_level_plate_is_in_layers_not_beads() -> None:
    assert kinds(box(30.0, 20.0, 0.8)) == {FindingKind.THIN_FLOOR}
    assert not kinds(box(30.0, 20.0, 0.9))


def test_a_thin_tube_and_a_thin_shell_are_found() -> None:
    assert FindingKind.THIN_WALL in kinds(tube(6.0, 0.6, 15.0, 90))
    assert FindingKind.THIN_WALL in kinds(shell(6.0, 0.6, 4))
    assert not kinds(tube(6.0, 1.4, 15.0, 90)) & THIN


def test_a_wedge_has_a_knife_edge() -> None:
    assert FindingKind.KNIFE_EDGE in kinds(wedge(np.radians(30.0), 12.0, 10.0))


def test_a_thick_block_is_a_thick_section_with_its_ball() -> None:
    report = check_walls(box(14.0, 30.0, 40.0), PRINTER, WallLimits(thick_mm=12.0))
    assert {finding.kind for finding in report.findings} == {FindingKind.THICK_SECTION}
    assert report.thickest_mm == pytest.approx(14.0, rel=1e-3)
    # A facet may reach a thousandth into the ball, which moves its centre by half of that.
    assert abs(report.thickest_at[0]) < 14.0 * 5e-4


def test_the_wanted_thickness_undoes_the_oversize() -> None:
    (floor,) = check_walls(box(30.0, 20.0, 0.8), PRINTER).findings
    assert floor.wanted_mm(0.9, np.array([1.18, 1.18, 1.22])) == pytest.approx(0.9 / 1.22, rel=1e-9)
    (wall,) = check_walls(box(30.0, 0.6, 20.0), PRINTER).findings
    assert wall.wanted_mm(0.66, np.array([1.3, 1.18, 1.22])) == pytest.approx(0.66 / 1.18, rel=1e-9)


def test_a_finding_can_be_written_to_a_file() -> None:
    (floor,) = check_walls(box(30.0, 20.0, 0.8), PRINTER).findings
    written = json.loads(json.dumps(floor.as_dict()))
    assert written["kind"] == "thin floor"
    assert written["smallest_mm"] == pytest.approx(0.8, rel=1e-6)


def test_an_open_mesh_is_checked_and_not_trusted() -> None:
    tray = box(30.0, 0.6, 20.0)
    tray.update_faces(np.arange(len(tray.faces)) > 1)
    report = check_walls(tray, PRINTER)
    assert not report.trusted
    assert any("open" in note for note in report.notes)


def test_loose_facets_do_not_stop_the_check() -> None:
    rng = np.random.default_rng(3)
    soup = trimesh.Trimesh(
        rng.random((300, 3)) * 10.0, np.arange(300).reshape(-1, 3), process=False
    )
    assert not check_walls(soup, PRINTER).trusted


def test_facets_without_area_are_refused() -> None:
    line = trimesh.Trimesh(
        [[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]], process=False, validate=False
    )
    with pytest.raises(MeshError, match="area"):
        check_walls(line, PRINTER)


def test_progress_is_reported_and_ends_at_one() -> None:
    calls: list[tuple[str, float]] = []
    check_walls(
        box(5.0, 5.0, 5.0), PRINTER, progress=lambda what, share: calls.append((what, share))
    )
    shares = [share for _, share in calls]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_limits_out_of_range_are_refused() -> None:
    with pytest.raises(SettingError, match="no limit"):
        WallLimits(floor_layers=0.0)
    with pytest.raises(SettingError, match="sound"):
        WallLimits(beads_to_exist=2.0, beads_to_be_sound=1.0)


def test_a_thick_ball_is_one_section_and_two_apart_are_two() -> None:
    one = trimesh.creation.icosphere(subdivisions=4, radius=9.0)
    limits = WallLimits(thick_mm=10.0)
    assert len(check_walls(one, PRINTER, limits).findings) == 1
    two = trimesh.util.concatenate([one, one.copy().apply_translation((30.0, 0.0, 0.0))])
    found = check_walls(two, PRINTER, limits).findings
    assert [f.kind for f in found] == [FindingKind.THICK_SECTION] * 2


def test_a_narrow_slot_is_seen_by_balls_and_layers() -> None:
    """A slot of 0.5 mm in a block fuses under a bead of 0.66 mm; the balls inside see no wall."""
    block = trimesh.util.concatenate(
        [
            box(30.0, 8.0, 10.0).apply_translation((0.0, 4.25, 0.0)),
            box(30.0, 8.0, 10.0).apply_translation((0.0, -4.25, 0.0)),
        ]
    )
    (gap,) = check_walls(block, PRINTER).findings
    assert gap.kind is FindingKind.NARROW_GAP
    assert gap.rule is Rule.BOTH
    assert gap.smallest_mm == pytest.approx(0.5, abs=0.01)


def test_a_knife_edge_lying_flat_is_one_finding() -> None:
    kinds_found = [
        f.kind for f in check_walls(wedge(np.radians(20.0), 12.0, 10.0), PRINTER).findings
    ]
    assert kinds_found.count(FindingKind.KNIFE_EDGE) >= 1
    assert FindingKind.THIN_FLOOR not in kinds_found


@pytest.mark.parametrize("left", [0.2, 0.45, 0.7])
def test_a_thin_floor_over_a_pocket_is_one_floor_with_no_knife_edge_round_it(left: float) -> None:
    """Along the rim of the pocket balls touch aslant, as in a wedge, but nothing thins out."""
    block = Manifold.cube((24.0, 24.0, 6.0), center=True)
    pocket = Manifold.cube((10.0, 10.0, 6.0), center=True).translate((1.0, 2.0, -left))
    found = check_walls(mesh_from_solid(block - pocket), PRINTER).findings
    assert [f.kind for f in found] == [FindingKind.THIN_FLOOR]
    assert found[0].smallest_mm == pytest.approx(left, rel=5e-3)
