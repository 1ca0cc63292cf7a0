"""Free-standing walls and pins that are many times as high as thick.

The part is cut into slices. An island of a slice is as stiff sideways as a strip of thickness
``sqrt(12 I / A)``, with ``I`` the smaller second moment of its area: the wall's own thickness for
a straight wall, far more for a ring or an angle, which hold themselves. Islands that stand on one
another are a tower as long as each is about as stiff as the one below; its height is compared
with the mean of their thicknesses, so that a cone is not called by its tip.

Source: second moment of a rectangle, ``I = A t^2 / 12``; of a polygon, by Green's theorem.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from manifold3d import CrossSection

from shrinkrule.numerics.arrays import Floats
from shrinkrule.printing.findings import SLENDER, PrintFinding, PrintKind
from shrinkrule.printing.slices import after, moments, sections
from shrinkrule.printing.surface import PrintSurface

_SLICES: Final = 60  # heights are then known to under 2 % of the part's
_ALIKE: Final = 1.6  # an island this much stiffer than the one on it is what holds that
_MOST_ISLANDS: Final = 1500  # a lattice has more, and holds itself
_CLEAR_MM: Final = 1e-6  # two that overlap by this much along a line do so beyond all rounding


@dataclass(frozen=True)
class _Tower:
    """Islands on one another: the uppermost, its own thickness, the mean of all, the foot.

    Of the uppermost also its outline, as edges from ``start`` (n, 2) to ``end`` (n, 2).
    """

    middle: Floats
    thickness: float
    low: Floats
    high: Floats
    section: CrossSection
    start: Floats
    end: Floats
    bottom: float
    mean: float
    count: int


def slender(surface: PrintSurface) -> tuple[tuple[PrintFinding, ...], str]:
    """Free-standing walls and pins that are too slender, the slenderest first.

    Parameters
    ----------
    surface : PrintSurface
        The green part.

    Returns
    -------
    findings : tuple of PrintFinding
        One for each tower.
    skipped : str
        Why they were not looked for; empty where they were.
    """
    if surface.edges.balance.any():
        return (), "slender walls are not looked for in a surface that touches itself"
    height = float(surface.points[:, 2].max())
    step = height / _SLICES
    standing: list[_Tower] = []
    ended: list[tuple[_Tower, float]] = []
    seen = 0
    bottoms: Floats = step * np.arange(_SLICES, dtype=np.float64)
    cuts = sections(surface, bottoms + 0.5 * step)
    for bottom, section in zip(bottoms.tolist(), cuts, strict=True):
        islands = standing if section is None else _islands(section, bottom)
        seen += len(islands)
        if seen > _MOST_ISLANDS:
            return (), "slender walls are not looked for in so fine a lattice"
        below = standing if section is None else _holders(islands, standing)
        goes_on = {id(tower) for tower in below if tower is not None}
        ended += [(tower, bottom) for tower in standing if id(tower) not in goes_on]
        standing = [
            island if tower is None else _higher(island, tower)
            for island, tower in zip(islands, below, strict=True)
        ]
    ended += [(tower, height) for tower in standing]
    found = []
    for tower, top in ended:
        ratio = (top - tower.bottom) / tower.mean
        if ratio > SLENDER:
            x, y = (float(value) for value in tower.middle)
            low, high = tower.low, tower.high
            found.append(
                PrintFinding(
                    PrintKind.SLENDER,
                    ratio,
                    SLENDER,
                    (x, y, 0.5 * (top + tower.bottom)),
                    (
                        (float(low[0]), float(low[1]), tower.bottom),
                        (float(high[0]), float(high[1]), top),
                    ),
                    0.0,
                )
            )
    # Of those alike, the first in place: rounding in the last digit decides nothing.
    return tuple(sorted(found, key=lambda one: (-round(one.measure, 6), one.position))), ""


def _islands(section: CrossSection, bottom: float) -> list[_Tower]:
    """The islands of a slice, each as the foot of a tower; without those that have no area."""
    parts = [(part, part.to_polygons()) for part in section.decompose()]
    parts = [(part, loops) for part, loops in parts if loops]
    if not parts:
        return []
    loops = [np.asarray(loop, dtype=np.float64) for _, loops in parts for loop in loops]
    points = np.concatenate(loops)
    begins = np.cumsum([0, *(len(loop) for loop in loops)])[:-1]
    first = begins[np.cumsum([0, *(len(loops) for _, loops in parts)])[:-1]]
    area, middle, least = moments(points, begins, first)
    with np.errstate(invalid="ignore", divide="ignore"):
        thickness = np.sqrt(12.0 * least / area)
    low, high = np.minimum.reduceat(points, first), np.maximum.reduceat(points, first)
    end, last = points[after(begins, len(points))], np.append(first[1:], len(points))
    return [
        _Tower(
            middle[k],
            float(thickness[k]),
            low[k],
            high[k],
            part,
            points[first[k] : last[k]],
            end[first[k] : last[k]],
            bottom,
            float(thickness[k]),
            1,
        )
        for k, (part, _) in enumerate(parts)
        if area[k] > 0.0 and least[k] > 0.0
    ]


def _holders(islands: list[_Tower], below: list[_Tower]) -> list[_Tower | None]:
    """The tower that each island goes on: the only one under it, and about as stiff."""
    if not below:
        return [None] * len(islands)
    lows, highs = (np.array([getattr(tower, end) for tower in below]) for end in ("low", "high"))
    return [
        _holder(island, [below[n] for n in np.flatnonzero(near)])
        for island in islands
        for near in [((lows < island.high) & (highs > island.low)).all(axis=1)]
    ]


def _holder(island: _Tower, near: list[_Tower]) -> _Tower | None:
    """The tower that an island goes on, of those whose boxes meet its own."""
    under = [tower for tower in near if _overlap(tower, island)]
    if len(under) != 1:
        return None
    ratio = under[0].thickness / island.thickness
    return under[0] if 1.0 / _ALIKE < ratio < _ALIKE else None


def _overlap(one: _Tower, other: _Tower) -> bool:
    """Whether two islands share area."""
    # A line through the middle of what their boxes share shows it as a rule, at less expense.
    middle = 0.5 * (max(one.low[1], other.low[1]) + min(one.high[1], other.high[1]))
    (a, b), (c, d) = _along(one, middle), _along(other, middle)
    shared = np.minimum(b[:, None], d) - np.maximum(a[:, None], c)
    if (shared > _CLEAR_MM).any():
        return True
    return bool((one.section ^ other.section).area() > 0.0)


def _along(island: _Tower, y: float) -> tuple[Floats, Floats]:
    """Where an island begins (k,) and ends (k,) along a line in X at ``y``, mm."""
    start, end = island.start, island.end
    cut = (start[:, 1] > y) != (end[:, 1] > y)
    start, end = start[cut], end[cut]
    share = (y - start[:, 1]) / (end[:, 1] - start[:, 1])
    x = np.sort(start[:, 0] + share * (end[:, 0] - start[:, 0]))
    return x[::2], x[1::2]


def _higher(island: _Tower, tower: _Tower) -> _Tower:
    """The tower with one more island on it."""
    count = tower.count + 1
    mean = tower.mean + (island.thickness - tower.mean) / count
    return replace(island, bottom=tower.bottom, mean=mean, count=count)
