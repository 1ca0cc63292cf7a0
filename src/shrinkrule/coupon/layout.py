"""Where the pieces lie: close together on the bed, and together on the furnace floor.

Both are small packing questions over rectangles; the first free corner, lowest first,
is good enough for half a dozen pieces and gives the same answer every time.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Final

import numpy as np

from shrinkrule.coupon.furnace import BoxFurnace, Furnace

GAP_MM: Final = 3.0
"""Room between pieces: a bead's spread, a skirt of ballast and fingertips."""

Size = tuple[float, float]
Place = tuple[float, float, float, float]
"""Corner x, y and size along x, y of a piece on a floor, mm."""


def pack(sizes: Sequence[Size], room: Size) -> list[Place] | None:
    """Place rectangles in a room in the order given, or None when one does not fit.

    Parameters
    ----------
    sizes : sequence of (length, width)
        Rectangles in mm, not turned.
    room : (length, width)
        The floor in mm.
    """
    placed: list[Place] = []
    for length, width in sizes:
        corners = [(0.0, 0.0)]
        for x, y, dx, dy in placed:
            corners += [(x + dx + GAP_MM, y), (x, y + dy + GAP_MM)]
            corners += [(x + dx + GAP_MM, 0.0), (0.0, y + dy + GAP_MM)]
        free = [
            (y, x)
            for x, y in corners
            if x + length <= room[0] + 1e-9
            and y + width <= room[1] + 1e-9
            and not any(_touch((x, y, length, width), other) for other in placed)
        ]
        if not free:
            return None
        y, x = min(free)
        placed.append((x, y, length, width))
    return placed


def floor_places(sizes: Sequence[Size], furnace: Furnace) -> list[Place] | None:
    """Place pieces together on a furnace floor, or None when they need more than one load.

    The first piece keeps its turn; the others are tried both ways, those of one size alike.
    """
    kinds = sorted(set(sizes[1:]))
    for turns in product((False, True), repeat=len(kinds)):
        turned = {
            kind: kind[::-1] if turn else kind for kind, turn in zip(kinds, turns, strict=True)
        }
        tried = [sizes[0], *(turned[size] for size in sizes[1:])]
        for room in _rooms(furnace):
            placed = pack(tried, room)
            if placed is not None:
                return placed
    return None


def bed_places(sizes: Sequence[Size]) -> list[Place]:
    """Place pieces on the bed, about as wide as they are deep."""
    side = max(*(size[0] for size in sizes), *(size[1] for size in sizes))
    while (placed := pack(sizes, (side, side))) is None:
        side += GAP_MM
    return placed


def _rooms(furnace: Furnace) -> list[Size]:
    """Rectangles a floor holds: the floor itself both ways, or those inscribed in a round one."""
    longest = furnace.longest_mm
    if isinstance(furnace, BoxFurnace):
        short = longest - abs(furnace.length_mm - furnace.width_mm)
        return [(longest, short), (short, longest)]
    angles = np.radians(np.arange(25.0, 66.0, 2.5))
    return [(float(longest * np.cos(a)), float(longest * np.sin(a))) for a in angles]


def _touch(one: Place, other: Place) -> bool:
    return (
        one[0] < other[0] + other[2] + GAP_MM - 1e-9
        and other[0] < one[0] + one[2] + GAP_MM - 1e-9
        and one[1] < other[1] + other[3] + GAP_MM - 1e-9
        and other[1] < one[1] + one[3] + GAP_MM - 1e-9
    )
