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
from manifold3d import CrossSection, Error
from numpy.typing import NDArray

from shrinkrule.mesh.bodies import solid_from_mesh
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printing.findings import SLENDER, PrintFinding, PrintKind
from shrinkrule.printing.surface import PrintSurface

_SLICES: Final = 60  # heights are then known to under 2 % of the part's
_ALIKE: Final = 1.6  # an island this much stiffer than the one on it is what holds that
_MOST_ISLANDS: Final = 1500  # a lattice has more, and holds itself


@dataclass(frozen=True)
class _Tower:
    """Islands on one another: the uppermost, its own thickness, the mean of all, the foot."""

    middle: Floats
    thickness: float
    low: Floats
    high: Floats
    section: CrossSection
    bottom: float
    mean: float
    count: int


def moments(loops: list[NDArray[np.float64]]) -> tuple[float, Floats, float]:
    """Area, centre and smaller second moment of a polygon with holes.

    Parameters
    ----------
    loops : list of (n, 2) float64
        Outlines, counter-clockwise; holes clockwise.

    Returns
    -------
    area : float
        mm2.
    centre : (2,) float64
        mm.
    least : float
        The smaller principal second moment about the centre, mm4.

    Examples
    --------
    >>> strip = np.array([[0.0, 0.0], [12.0, 0.0], [12.0, 2.0], [0.0, 2.0]])
    >>> area, centre, least = moments([strip])
    >>> round(area, 9), centre.round(9).tolist(), round(float(np.sqrt(12.0 * least / area)), 9)
    (24.0, [6.0, 1.0], 2.0)
    """
    middle = loops[0].mean(axis=0)
    start = np.concatenate(loops) - middle
    end = np.concatenate([np.roll(loop, -1, axis=0) for loop in loops]) - middle
    cross = start[:, 0] * end[:, 1] - end[:, 0] * start[:, 1]
    area = 0.5 * float(cross.sum())
    centre = ((start + end) * cross[:, None]).sum(axis=0) / (6.0 * area)
    squares = (start**2 + start * end + end**2) * cross[:, None]
    own = squares.sum(axis=0) / 12.0 - area * centre**2
    mixed = start[:, 0] * end[:, 1] + 2.0 * start[:, 0] * start[:, 1]
    mixed = mixed + 2.0 * end[:, 0] * end[:, 1] + end[:, 0] * start[:, 1]
    product = float((mixed * cross).sum()) / 24.0 - area * float(np.prod(centre))
    half = 0.5 * float(own.sum())
    least = half - float(np.hypot(0.5 * float(own[0] - own[1]), product))
    return area, np.asarray(centre + middle), least


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
    solid = solid_from_mesh(surface.points, surface.facets)
    if solid.status() != Error.NoError:
        return (), "slender walls are not looked for in a surface that touches itself"
    height = float(surface.points[:, 2].max())
    step = height / _SLICES
    standing: list[_Tower] = []
    ended: list[tuple[_Tower, float]] = []
    seen = 0
    for number in range(_SLICES):
        bottom = number * step
        islands = [
            island
            for section in solid.slice(bottom + 0.5 * step).decompose()
            if (island := _island(section, bottom)) is not None
        ]
        seen += len(islands)
        if seen > _MOST_ISLANDS:
            return (), "slender walls are not looked for in so fine a lattice"
        below = _holders(islands, standing)
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
    return tuple(sorted(found, key=lambda finding: -finding.measure)), ""


def _island(section: CrossSection, bottom: float) -> _Tower | None:
    """An island of a slice as the foot of a tower; None where it has no area."""
    loops = [np.asarray(loop, dtype=np.float64) for loop in section.to_polygons()]
    if not loops:
        return None
    area, middle, least = moments(loops)
    if not (area > 0.0 and least > 0.0):
        return None
    points = np.concatenate(loops)
    thickness = float(np.sqrt(12.0 * least / area))
    low, high = points.min(axis=0), points.max(axis=0)
    return _Tower(middle, thickness, low, high, section, bottom, thickness, 1)


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
    under = [tower for tower in near if (tower.section ^ island.section).area() > 0.0]
    if len(under) != 1:
        return None
    ratio = under[0].thickness / island.thickness
    return under[0] if 1.0 / _ALIKE < ratio < _ALIKE else None


def _higher(island: _Tower, tower: _Tower) -> _Tower:
    """The tower with one more island on it."""
    count = tower.count + 1
    mean = tower.mean + (island.thickness - tower.mean) / count
    return replace(island, bottom=tower.bottom, mean=mean, count=count)
