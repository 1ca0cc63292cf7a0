"""Rounds that run into each other, and rounds whose facets run to and fro with a corner amiss."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection, Manifold

from shrinkrule import part_from_mesh
from shrinkrule.dimensions import Kind, find_dimensions
from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.numerics.arrays import Floats


def arc(centre: tuple[float, float], radius: float, first: int, last: int) -> Floats:
    """Points (n, 2) of an arc, five degrees apart, without the last one."""
    turn = np.radians(np.arange(first, last, 5))
    return np.column_stack([np.cos(turn), np.sin(turn)]) * radius + centre


def test_an_egg_is_four_rounds() -> None:
    """Drawn with the compass: half a turn of 10 mm, twice 13 mm about (-3, 0) and (3, 0), and a
    quarter of 13 - 3 sqrt(2) mm about (0, 3). Only the first has a diameter to measure; after it
    others are looked for in what is left."""
    top = 13.0 - 3.0 * np.sqrt(2.0)
    egg = np.concatenate(
        [
            arc((-3, 0), 13.0, 0, 45),
            arc((0, 3), top, 45, 135),
            arc((3, 0), 13.0, 135, 180),
            arc((0, 0), 10.0, 180, 360),
        ]
    )
    mesh = mesh_from_solid(Manifold.extrude(CrossSection([egg]), 8.0))
    found = find_dimensions(part_from_mesh(mesh))
    assert [d.size_mm for d in found.every if d.kind is Kind.BOSS] == pytest.approx([20.0])
    assert "of less than half a turn are not measured" in " ".join(found.notes)


def antiprism(radius: float, count: int, height: float) -> trimesh.Trimesh:
    """A pin whose rings are turned by half a step against each other.

    One corner lies amid a side of the middle ring, where facets of the upper band meet.
    """
    step = 2.0 * np.pi / count
    rings = []
    for turn, z in ((0.0, 0.0), (0.5 * step, height), (0.0, 2.0 * height)):
        angle = turn + step * np.arange(count)
        rings.append(
            np.column_stack([radius * np.cos(angle), radius * np.sin(angle), np.full(count, z)])
        )
    ends = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 2.0 * height]])
    low = np.arange(count)
    after, middle, top = (low + 1) % count, low + count, low + 2 * count
    beyond, over, amid = after + count, after + 2 * count, 3 * count + 2
    facets = np.concatenate(
        [
            np.column_stack([after, low, np.full(count, 3 * count)]),
            np.column_stack([low, after, middle]),
            np.column_stack([middle, after, beyond])[1:],
            np.column_stack([middle, beyond, over])[1:],
            np.column_stack([top, middle, over])[np.arange(count) != 1],
            np.column_stack([top, over, np.full(count, 3 * count + 1)]),
            [[count, 1, amid], [amid, 1, count + 1]],
            [[count, amid, top[1]], [amid, top[2], top[1]], [amid, count + 1, top[2]]],
        ]
    )
    vertices = [*rings, ends, 0.5 * (rings[1][:1] + rings[1][1:2])]
    return trimesh.Trimesh(np.concatenate(vertices), facets, process=False)


def test_pins_with_a_corner_amiss_are_measured() -> None:
    pins = [antiprism(radius, 24, 4.5) for radius in (4.0, 5.0, 6.5)]
    for number, pin in enumerate(pins):
        assert pin.is_watertight
        assert pin.is_winding_consistent
        pin.apply_translation([20.0 * number, 0.0, 0.0])
    found = find_dimensions(part_from_mesh(trimesh.util.concatenate(pins)))
    bosses = [d.size_mm for d in found.every if d.kind is Kind.BOSS]
    assert sorted(bosses) == pytest.approx([8.0, 10.0, 13.0])
    assert found.notes == ()
