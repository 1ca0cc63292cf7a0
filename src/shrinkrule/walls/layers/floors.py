"""Floors and roofs too few layers thick, measured in vertical columns through the part.

A span of material between a face below and a face above that are both nearly level and
nearly parallel is a floor. Columns measure it whatever the heights of the layers, also
where it lies between two of them. Columns that adjoin are one floor; what is narrower than a bead
is the edge of something else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.walls.findings import Axis, Finding, FindingKind, Rule, as_vector
from shrinkrule.walls.layers.columns import join_spans, thin_columns
from shrinkrule.walls.layers.places import LayerPlace
from shrinkrule.walls.layers.shell import Shell
from shrinkrule.walls.limits import MARGIN_MM

LEVEL_DEGREES: Final = 30.0
"""Faces tilted more belong to a wall; a wall that leans more is a floor."""

PARALLEL_DEGREES: Final = 10.0
"""Faces that meet at more are an edge that runs thin: no floor, but a knife edge."""

COLUMNS_PER_BEAD: Final = 5.0
"""Columns across a bead, so that a floor one bead wide differs from a narrower one."""

MAX_COLUMNS: Final = 4_000_000
"""Larger parts get columns further apart, to end within seconds."""

FITS: Final = 0.75
"""A floor is at least this share of a bead wide; columns measure its width to a fifth."""

MOST_POINTS: Final = 400
"""Columns of a floor at which the balls' findings are looked up, at most."""


@dataclass(frozen=True)
class Floors:
    """Thin floors, and the columns they stand on.

    Parameters
    ----------
    found : tuple of LayerPlace
        One for each connected floor.
    undecided : float
        Share of the columns that an open surface leaves undecided.
    cell_mm : float
        Spacing of the columns.
    at, width : (2,) float64, int
        First grid point, and columns in a row.
    places, spans : (n,) int64, (n, 2) float64
        Number of each column in a floor, rising, and foot and top of the floor there, mm.
    """

    found: tuple[LayerPlace, ...]
    undecided: float
    cell_mm: float
    at: Floats
    width: int
    places: Ints
    spans: Floats

    def holds(self, plan: Floats, height_mm: float, near_mm: float) -> Mask:
        """Whether points at a height are in a thin floor, or within a reach above or below.

        Parameters
        ----------
        plan : (k, 2) float64
            Points, mm.
        height_mm, near_mm : float
            Height, and the reach.

        Returns
        -------
        (k,) bool
            One answer for each point.
        """
        cells = np.round((plan - self.at) / self.cell_mm).astype(np.int64)
        key = cells[:, 1] * self.width + cells[:, 0]
        found = np.zeros(len(plan), dtype=np.bool_)
        first = np.searchsorted(self.places, key, side="left")
        last = np.searchsorted(self.places, key, side="right")
        for more in range(int((last - first).max(initial=0))):
            i = np.minimum(first + more, len(self.places) - 1)
            inside = (self.spans[i, 0] - near_mm <= height_mm) & (
                height_mm <= self.spans[i, 1] + near_mm
            )
            found |= (first + more < last) & inside
        return found


def thin_floors(shell: Shell, bead_mm: float, limit_mm: float) -> Floors:
    """Find floors thinner than a limit and wider than a bead.

    Parameters
    ----------
    shell : Shell
        The green part, print frame.
    bead_mm : float
        Bead width.
    limit_mm : float
        Thinnest floor that closes, mm.

    Returns
    -------
    Floors
        One place for each floor, by rule LAYERS.
    """
    used = shell.used
    low, high = used[:, :2].min(axis=0), used[:, :2].max(axis=0)
    extent = np.maximum(high - low, 1e-9)
    cell = max(bead_mm / COLUMNS_PER_BEAD, float(np.sqrt(np.prod(extent) / MAX_COLUMNS)))
    cell = max(cell, float(extent.max()) / MAX_COLUMNS)
    size = (int(extent[0] / cell) + 1, int(extent[1] / cell) + 1)
    # The rest is shared by both sides, so that no column stands on the outline.
    at = low + 0.5 * (extent - cell * (np.array(size) - 1))
    places, spans, opened = thin_columns(
        shell.points,
        shell.facets,
        at,
        cell,
        size,
        limit_mm - MARGIN_MM,
        MARGIN_MM,
        float(np.cos(np.radians(LEVEL_DEGREES))),
        float(np.cos(np.radians(PARALLEL_DEGREES))),
    )
    # A diagonal step on the steepest floor.
    rise = 1.5 * cell * float(np.tan(np.radians(LEVEL_DEGREES)))
    label = join_spans(places, spans, size[0], rise)
    order = np.argsort(label, kind="stable")
    found: list[LayerPlace] = []
    kept = []
    for region in np.split(order, np.flatnonzero(np.diff(label[order])) + 1) if len(order) else ():
        wide, depth = _opened(places[region], size[0], cell, bead_mm)
        if wide.any():
            region, depth = region[wide], depth[wide]
            kept.append(region)
            finding = _finding(places[region], spans[region], depth, at, cell, size[0], limit_mm)
            found.append(
                LayerPlace(finding, _points_in(places[region], spans[region], at, cell, size))
            )
    chosen = np.sort(np.concatenate(kept)) if kept else np.empty(0, dtype=np.int64)
    undecided = opened / (size[0] * size[1])
    return Floors(tuple(found), undecided, cell, at, size[0], places[chosen], spans[chosen])


def _opened(places: Ints, width: int, cell: float, bead_mm: float) -> tuple[Mask, Floats]:
    """Columns of a region that a bead reaches, and how deep each lies inside, in columns."""
    row, column = np.divmod(places, width)
    row, column = row - row.min() + 1, column - column.min() + 1
    mask = np.zeros((row.max() + 2, column.max() + 2), dtype=np.bool_)
    mask[row, column] = True
    across = max(1.0, FITS * bead_mm / cell)
    if mask.sum() < across**2 / 2.0:
        return np.zeros(len(places), dtype=np.bool_), np.empty(0)
    # No part of most runs: nothing to load for them.
    from scipy.ndimage import distance_transform_edt

    depth: Floats = distance_transform_edt(mask)
    core = 2.0 * depth - 1.0 >= across
    if not core.any():
        return np.zeros(len(places), dtype=np.bool_), np.empty(0)
    reached = distance_transform_edt(~core) < (across + 1.0) / 2.0 + 0.5
    return reached[row, column], depth[row, column]


def _points_in(
    places: Ints, spans: Floats, at: Floats, cell: float, size: tuple[int, int]
) -> Floats:
    """Points (k, 3) on the underside of some of the columns of a floor."""
    some = slice(None, None, 1 + len(places) // MOST_POINTS)
    row, column = np.divmod(places[some], size[0])
    return np.column_stack([at + cell * np.column_stack([column, row]), spans[some, 0]])


def _finding(
    places: Ints,
    spans: Floats,
    depth: Floats,
    at: Floats,
    cell: float,
    width: int,
    limit_mm: float,
) -> Finding:
    row, column = np.divmod(places, width)
    plan = at + cell * np.column_stack([column, row])
    tall = spans[:, 1] - spans[:, 0]
    # Of equally thin columns the one furthest from the edge is the position reported.
    thinnest = np.flatnonzero(tall <= tall.min() + MARGIN_MM / 2.0)
    chosen = int(thinnest[np.argmax(depth[thinnest])])
    low_z, high_z = float(spans[:, 0].min()), float(spans[:, 1].max())
    half = cell / 2.0
    return Finding(
        kind=FindingKind.THIN_FLOOR,
        rule=Rule.LAYERS,
        axis=Axis.FLAT,
        smallest_mm=float(tall[chosen]),
        limit_mm=limit_mm,
        position=(float(plan[chosen, 0]), float(plan[chosen, 1]), float(spans[chosen].mean())),
        direction=(0.0, 0.0, 1.0),
        box=(
            as_vector(np.append(plan.min(axis=0) - half, low_z)),
            as_vector(np.append(plan.max(axis=0) + half, high_z)),
        ),
        area_mm2=2.0 * len(places) * cell**2,
        volume_mm3=float(tall.sum() * cell**2),
        height_range_mm=(low_z, high_z),
    )
