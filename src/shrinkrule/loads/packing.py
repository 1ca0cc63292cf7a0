"""Parts beside each other in a crucible, in one layer, in as few loads as a simple method finds.

The largest part goes first, into the first load with room for it, as low on the floor and then as
far left as it goes in twelve turns. Two parts are clear of each other where a line in one of their
common directions keeps them apart by the clearance, so they never come closer; the wall is kept by
their corners. It is no proof that fewer loads would not do: :func:`fewest_loads` bounds that from
below, and only where the two agree is the number known to be the least.

Source: first fit decreasing, bottom left (B. S. Baker, E. G. Coffman, R. L. Rivest, SIAM J. Comput.
9 (1980) 846-855).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.furnace import CLEARANCE_MM, BoxFurnace, Furnace
from shrinkrule.loads.outline import DIRECTIONS, NORMALS, STEP_DEG, Footprint
from shrinkrule.numerics.arrays import Floats

_TURNS: Final = tuple(range(0, DIRECTIONS, 4))
"""Turns that are tried, in steps: every 30 degrees."""

_PLACES: Final = 80
"""Places that are tried along the longer side of the floor: a millimetre in a usual crucible."""

_SLACK_MM: Final = 1e-9


@dataclass(frozen=True)
class Placed:
    """A part in a load.

    Parameters
    ----------
    number : int
        Which part, as it was given.
    room : Footprint
        Its outline, turned.
    at : (2,) float64
        Where the middle of its own box lies, from the middle of the floor, mm.
    turned_deg : float
        Turn to the left from how it was given.
    """

    number: int
    room: Footprint
    at: Floats
    turned_deg: float

    @property
    def corners(self) -> Floats:
        """Corners (48, 2) on the floor, mm."""
        return self.room.corners + self.at


@dataclass(frozen=True)
class Load:
    """Parts that are fired together."""

    parts: tuple[Placed, ...]


def pack_loads(
    footprints: Sequence[Footprint], furnace: Furnace, fits_alone: Sequence[bool] = ()
) -> tuple[tuple[Load, ...], tuple[int, ...]]:
    """Put parts into loads, in one layer.

    Parameters
    ----------
    footprints : sequence of Footprint
        Room that each part takes.
    furnace : BoxFurnace or CrucibleFurnace
        Inside sizes; the clearance is kept to the wall, the lid and between parts.
    fits_alone : sequence of bool, optional
        Of each part, whether it is known to fit by itself, in a turn that is not tried here or by
        less than its outline is too large: it then makes a load of its own.

    Returns
    -------
    loads : tuple of Load
        Which parts go together, and where.
    left : tuple of int
        Numbers of the parts that the furnace does not take.
    """
    loads: list[list[Placed]] = []
    left = []
    for number in sorted(range(len(footprints)), key=lambda n: -footprints[n].area_mm2):
        room = footprints[number]
        turned = [(turn, room.turned(turn)) for turn in _TURNS]
        tried = [(turn, r, _inside(r, furnace)) for turn, r in turned]
        alone = number < len(fits_alone) and fits_alone[number]
        if room.height_mm > furnace.usable_height_mm + _SLACK_MM or not any(
            len(places) for _, _, places in tried
        ):
            if alone:
                loads.append([Placed(number, room, np.zeros(2), 0.0)])
            else:
                left.append(number)
            continue
        loads.append([])
        for load in loads:
            if best := _lowest(number, tried, load):
                load.append(best)
                break
        loads = [load for load in loads if load]
    return tuple(Load(tuple(parts)) for parts in loads), tuple(sorted(left))


def fewest_loads(footprints: Sequence[Footprint], furnace: Furnace) -> int:
    """Loads that some parts take at least: by the area of their outlines and of the floor.

    Parameters
    ----------
    footprints : sequence of Footprint
        Room that each part takes.
    furnace : BoxFurnace or CrucibleFurnace
        Inside sizes.

    Returns
    -------
    int
        No packing needs fewer.
    """
    room = _floor(furnace)
    floor = float(room.prod()) * (1.0 if isinstance(furnace, BoxFurnace) else math.pi / 4.0)
    # Outlines are larger than what they hold, by at most the 0.2 % of a round part twice over.
    return math.ceil(0.99 * sum(part.area_mm2 for part in footprints) / floor)


def _floor(furnace: Furnace) -> Floats:
    """Sides (2,) of the floor's box that parts may reach, mm."""
    sides = (
        (furnace.length_mm, furnace.width_mm)
        if isinstance(furnace, BoxFurnace)
        else (furnace.diameter_mm, furnace.diameter_mm)
    )
    return np.array(sides, dtype=np.float64) - 2.0 * CLEARANCE_MM


def _inside(room: Footprint, furnace: Furnace) -> Floats:
    """Places (n, 2) of the middle of a part's box at which it is clear of the wall, mm."""
    floor = _floor(furnace)
    quarter = DIRECTIONS // 4
    half = room.reach_mm[[0, quarter]]
    spare = 0.5 * floor - half
    if spare.min() < -_SLACK_MM:
        return np.empty((0, 2))
    cell = floor.max() / _PLACES
    # From the middle outward to the snug places at both ends.
    steps = [
        np.unique(np.concatenate([np.arange(0.0, s, cell), -np.arange(0.0, s, cell), [s, -s]]))
        for s in np.maximum(spare, 0.0)
    ]
    places: Floats = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 2)
    if isinstance(furnace, BoxFurnace):
        return places
    reach = np.zeros(len(places))
    for x, y in room.corners:
        np.maximum(reach, np.hypot(places[:, 0] + x, places[:, 1] + y), out=reach)
    inside: Floats = places[reach <= 0.5 * floor[0] + _SLACK_MM]
    return inside


def _lowest(
    number: int, tried: Sequence[tuple[int, Footprint, Floats]], load: Sequence[Placed]
) -> Placed | None:
    """Part at the lowest and then leftmost place of any turn that is clear of a load's parts."""
    best: tuple[float, float, Placed] | None = None
    for turn, room, places in tried:
        free = places
        for other in load:
            along = (free - other.at) @ NORMALS.T
            across = np.roll(room.reach_mm, DIRECTIONS // 2)
            apart = along - other.room.reach_mm - across >= CLEARANCE_MM - _SLACK_MM
            free = free[apart.any(axis=1)]
        if not len(free):
            continue
        top = free[:, 1] + room.reach_mm[DIRECTIONS // 4]
        first = int(np.lexsort((free[:, 0], np.round(top, 6)))[0])
        key = (round(float(top[first]), 6), float(free[first, 0]))
        if best is None or key < best[:2]:
            best = (*key, Placed(number, room, free[first], turn * STEP_DEG))
    return None if best is None else best[2]
