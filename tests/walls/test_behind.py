"""What may lie behind a place of the surface, and what the layers look at about narrow points."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection

from shrinkrule.walls.layers import openings
from shrinkrule.walls.layers.openings import Side, disk_radius, lost_pieces, narrow_points
from shrinkrule.walls.thickness.behind import faces_back_behind
from shrinkrule.walls.thickness.spheres import Surface

UP = np.array([[0.0, 0.0, 1.0]])


def behind(
    mesh: trimesh.Trimesh, top: tuple[float, float, float], depth: float, reach: float
) -> bool:
    surface = Surface(mesh)
    tops = np.array([top]) - surface.middle
    return bool(faces_back_behind(surface.tree, tops, UP, np.array([depth]), np.array([reach]))[0])


@pytest.mark.parametrize("reach", [0.1, 1.0, 3.0])
def test_the_underside_of_a_plate_is_seen_from_its_thickness_on(reach: float) -> None:
    """A plate 2 mm thick: its underside lies 2 mm behind every place of its top."""
    plate = trimesh.creation.box((20.0, 20.0, 2.0))
    assert not behind(plate, (0.0, 0.0, 1.0), 1.99, reach)
    assert behind(plate, (0.0, 0.0, 1.0), 2.01, reach)


def test_sides_square_to_the_top_bound_no_wall() -> None:
    """Beside the edge of a block only its side is near, which faces neither way."""
    block = trimesh.creation.box((20.0, 20.0, 20.0))
    assert not behind(block, (9.9, 9.9, 10.0), 2.0, 2.0)


def test_a_pocket_from_below_is_seen_within_the_reach() -> None:
    """A pocket 6 mm wide leaves 1 mm; its edge lies 2 mm from the place asked."""
    block = trimesh.creation.box((30.0, 30.0, 8.0))
    pocket = trimesh.creation.box((6.0, 6.0, 7.0))
    pocket.apply_translation((0.0, 0.0, -0.5))
    part = trimesh.boolean.difference([block, pocket], engine="manifold")
    assert not behind(part, (5.0, 0.0, 4.0), 1.2, 1.9)
    assert behind(part, (5.0, 0.0, 4.0), 1.2, 2.1)
    assert not behind(part, (5.0, 0.0, 4.0), 0.9, 2.1)


@pytest.mark.parametrize("seed", range(6))
def test_looking_about_narrow_points_finds_what_looking_everywhere_does(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plate with ribs and slots of random widths, some thinner than the limit."""
    random = np.random.default_rng(seed)
    region = CrossSection.square((120.0, 80.0))
    for x, y in random.uniform(5.0, 70.0, (12, 2)):
        wide, long = random.uniform(0.2, 1.5), random.uniform(1.0, 20.0)
        region -= CrossSection.square((long, wide)).translate((x, y))
        region += CrossSection.square((wide, long)).translate((x + 3.0, 79.0))
    limit = 0.66
    for side, looked_at in (
        (Side.MATERIAL, region),
        (Side.AIR, CrossSection.square((160.0, 140.0)).translate((-20.0, -20.0)) - region),
    ):
        points = narrow_points(region, limit, side)
        looked = sorted(piece.area() for piece, _ in lost_pieces(looked_at, limit, points))
        with monkeypatch.context() as whole:
            whole.setattr(openings, "_window", lambda *_: None)
            everywhere = sorted(piece.area() for piece, _ in lost_pieces(looked_at, limit, points))
        assert looked == pytest.approx(everywhere, abs=1e-3 * disk_radius(limit))
        if side is Side.MATERIAL:
            assert everywhere
