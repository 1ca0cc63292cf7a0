"""Outlines of a layer: open ones first, rough ones named, and struts that end in one point."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection

from shrinkrule.mesh import Rays
from shrinkrule.printer import Printer
from shrinkrule.walls import FindingKind, WallLimits
from shrinkrule.walls.layers.check import FEW_POINTS, ROUGH, _narrow_points_of
from shrinkrule.walls.layers.loops import chain_pieces
from shrinkrule.walls.layers.places import _is_blunt_end
from shrinkrule.walls.regions.grouping import NUMBER, through_nodes

PRINTER = Printer(nozzle_mm=0.6, bead_width_mm=0.66, layer_height_mm=0.3)


def test_only_the_outline_that_does_not_close_is_open() -> None:
    """Facets 0 and 1 close on each other; 2 leads to 3, whose far side has no neighbour."""
    twin = np.full(12, -1)
    for one, other in ((1, 3), (4, 0), (7, 9)):
        twin[one], twin[other] = other, one
    # Pieces in an order in which the open outline neither comes first nor starts first.
    sides = np.array([[0, 1], [9, 10], [3, 4], [6, 7]])
    order, begins, opened = chain_pieces(sides, twin, np.full(4, -1))
    assert opened == 1
    assert list(begins) == [0, 2, 4]
    assert list(order) == [3, 1, 0, 2]


def comb(step: float, teeth: int = 300) -> CrossSection:
    """A strip with square teeth on both long sides: a right angle after each step."""
    up = np.array([[0.0, 0.0], [0.0, 1.0], [1.0, 1.0], [1.0, 0.0]])
    top = np.concatenate([up + [2.0 * n, 1.0] for n in range(teeth)])
    outline = np.concatenate([top, np.column_stack([top[::-1, 0], -top[::-1, 1]])])
    return CrossSection([step * outline[::-1]])


@pytest.mark.parametrize(("share", "rough"), [(0.9, True), (1.1, False)])
def test_an_outline_is_rough_where_half_a_bead_turns_more_than_the_limit(
    share: float, rough: bool
) -> None:
    """Right angles every s turn by pi / (2 s) per mm: over half a bead b, rough to s = pi b / 8."""
    limit = np.pi / 2.0 * (PRINTER.bead_width_mm / 2.0) / ROUGH
    section = comb(share * limit)
    assert section.num_vert() > FEW_POINTS
    found = _narrow_points_of(section, PRINTER, WallLimits(), None, np.array([0.0, 0.3]))
    assert found.rough is rough


def test_struts_whose_balls_share_a_centre_are_one_net_with_a_third_nearby() -> None:
    """No direction leads from a centre to itself: the third, which sees both, joins them."""
    rays = Rays(trimesh.creation.box((10.0, 10.0, 10.0)))
    centres = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 0.0], [1.0, 0.0, 0.0]])
    kind = np.full(3, NUMBER[FindingKind.THIN_PIN])
    label = through_nodes(rays, np.arange(3), kind, centres, 2.0)
    assert len(np.unique(label)) == 1


@pytest.mark.parametrize(("layers", "blunt"), [(5, True), (6, False), (9, False)])
def test_only_what_a_ball_as_wide_as_the_limit_nearly_reaches_is_a_blunt_end(
    layers: int, blunt: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Limit 0.6 mm: of an end that widens at once, 0.3 mm and the reach of a stub, 0.525 mm."""
    monkeypatch.setattr("shrinkrule.walls.layers.places._growth", lambda *_: 10.0)
    square = CrossSection([np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])])
    place = [SimpleNamespace(plan=square, layer=n) for n in range(layers)]
    finding = SimpleNamespace(limit_mm=0.6, smallest_mm=0.55)
    stack = SimpleNamespace(step_mm=0.1)
    assert _is_blunt_end(place, finding, stack) is blunt  # type: ignore[arg-type]
    thin = SimpleNamespace(limit_mm=0.6, smallest_mm=0.4)
    assert not _is_blunt_end(place, thin, stack)  # type: ignore[arg-type]
