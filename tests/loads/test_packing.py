"""Parts in loads: never closer than the clearance, never beyond the wall, all of them somewhere.

Distances are measured by shapely on the parts' own outlines, not on those of the packing.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from shrinkrule.furnace import CLEARANCE_MM, BoxFurnace, CrucibleFurnace, Furnace
from shrinkrule.loads import Load, fewest_loads, footprint, pack_loads
from shrinkrule.numerics.arrays import Floats


def points_of(flat: Floats, height: float = 10.0) -> Floats:
    return np.vstack([np.column_stack([flat, np.full(len(flat), z)]) for z in (0.0, height)])


def rectangle(length: float, width: float) -> Floats:
    return np.array([[0, 0], [length, 0], [length, width], [0, width]], dtype=np.float64)


def disk(diameter: float) -> Floats:
    angles = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    return 0.5 * diameter * np.stack([np.cos(angles), np.sin(angles)], axis=1)


def on_the_floor(load: Load, flats: list[Floats]) -> list[shapely.Polygon]:
    """Parts of a load where they were put, of their own outlines."""
    shapes = []
    for part in load.parts:
        flat = flats[part.number]
        middle = 0.5 * (flat.min(axis=0) + flat.max(axis=0))
        shape = shapely.Polygon(flat - middle).convex_hull
        shape = affinity.rotate(shape, part.turned_deg, origin=(0, 0))
        shapes.append(affinity.translate(shape, *part.at))
    return shapes


def require_sound(loads: tuple[Load, ...], flats: list[Floats], furnace: Furnace) -> None:
    for load in loads:
        shapes = on_the_floor(load, flats)
        for a, b in combinations(shapes, 2):
            assert a.distance(b) >= CLEARANCE_MM - 1e-6
        for shape in shapes:
            x, y = np.array(shape.exterior.coords).T
            if isinstance(furnace, BoxFurnace):
                assert np.abs(x).max() <= furnace.length_mm / 2 - CLEARANCE_MM + 1e-6
                assert np.abs(y).max() <= furnace.width_mm / 2 - CLEARANCE_MM + 1e-6
            else:
                assert np.hypot(x, y).max() <= furnace.diameter_mm / 2 - CLEARANCE_MM + 1e-6


polygons = st.lists(
    st.tuples(st.floats(3.0, 60.0), st.floats(3.0, 60.0), st.floats(0.0, 90.0)),
    min_size=1,
    max_size=7,
)


@settings(max_examples=10, deadline=None)
@given(polygons, st.sampled_from([BoxFurnace(90, 70, 50), CrucibleFurnace(90, 60)]))
def test_parts_keep_clear_and_none_is_lost(
    sides: list[tuple[float, float, float]], furnace: Furnace
) -> None:
    flats = []
    for length, width, angle in sides:
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        flats.append(rectangle(length, width) @ np.array([[c, s], [-s, c]]))
    rooms = [footprint(points_of(flat)) for flat in flats]
    loads, left = pack_loads(rooms, furnace)
    require_sound(loads, flats, furnace)
    packed = [part.number for load in loads for part in load.parts]
    assert sorted([*packed, *left]) == list(range(len(flats)))
    assert len(loads) >= fewest_loads([rooms[n] for n in packed], furnace)


def test_four_plates_fill_a_box_and_a_fifth_needs_another_load() -> None:
    """Inside 84 x 64 mm, less 2 mm all round, is 39 + 2 + 39 by 29 + 2 + 29."""
    furnace = BoxFurnace(84, 64, 50)
    flats = [rectangle(39, 29)] * 5
    loads, left = pack_loads([footprint(points_of(flat)) for flat in flats], furnace)
    assert [len(load.parts) for load in loads] == [4, 1]
    assert left == ()
    require_sound(loads, flats, furnace)


def test_seven_disks_in_a_round_crucible() -> None:
    """Seven of diameter d go into a circle of 3 d and two gaps (R. L. Graham 1968)."""
    flats = [disk(26.0)] * 7
    furnace = CrucibleFurnace(100, 60)
    loads, _ = pack_loads([footprint(points_of(flat)) for flat in flats], furnace)
    require_sound(loads, flats, furnace)
    assert len(loads) <= 2
    assert fewest_loads([footprint(points_of(flat)) for flat in flats], furnace) == 1


def test_what_is_too_high_or_too_long_is_left_unless_it_is_known_to_fit() -> None:
    rooms = [
        footprint(points_of(rectangle(20, 20), 57.0)),
        footprint(points_of(rectangle(90, 10))),
        footprint(points_of(rectangle(20, 20), 56.0)),
    ]
    furnace = CrucibleFurnace(90, 60)
    loads, left = pack_loads(rooms, furnace)
    assert left == (0, 1)
    assert [part.number for load in loads for part in load.parts] == [2]
    loads, left = pack_loads(rooms, furnace, [False, True, True])
    assert left == (0,)
    assert sorted(part.number for load in loads for part in load.parts) == [1, 2]


def test_an_outline_holds_its_part_and_is_hardly_larger() -> None:
    """A regular 48-gon around a circle has its area times tan(pi / 48) / (pi / 48)."""
    room = footprint(points_of(disk(40.0)))
    grown = np.tan(np.pi / 48) / (np.pi / 48)
    assert room.area_mm2 == pytest.approx(np.pi * 400.0 * grown, rel=2e-4)
    around = shapely.Polygon(room.corners).buffer(1e-6)
    assert around.contains(shapely.Polygon(disk(40.0)))
    turned = shapely.Polygon(footprint(points_of(rectangle(30, 10))).turned(12).corners)
    assert turned.bounds == pytest.approx((-5.0, -15.0, 5.0, 15.0), abs=1e-9)
