"""The plan of a sag solve: its bricks, its cost and its expected error, before it starts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh

from shrinkrule.errors import MeshError, SettingError
from shrinkrule.numerics.arrays import Floats, box_of
from shrinkrule.numerics.triangles import surface_area
from shrinkrule.sag.settings import SagSettings
from shrinkrule.sag.voxels.grid import (
    SLACK,
    FlatFaces,
    Grid,
    TurnedPart,
    furnace_turn,
    turned_part,
)
from shrinkrule.sag.voxels.solid import solid_of
from shrinkrule.walls import Status, sample_surface, thickness_at
from shrinkrule.walls.thickness.spheres import thin_twentieth

BRICKS_WANTED: Final = 4.0
"""Bricks through the thinnest load-bearing wall, where the budget allows."""

FEWEST_BRICKS: Final = 1.0
"""With fewer bricks through a wall than this its bending stiffness means nothing."""

BYTES_PER_UNKNOWN: Final = 1350
"""Peak memory per unknown, measured on solid and thin-walled parts, with a reserve."""

_QUICK: Final = 40_000  # so many unknowns cost a second at most: a plan asks for no fewer
_LARGER_TRIES: Final = 20  # a thin sheet takes whole layers of bricks: the next may be far
_BYTES_PER_GRID_CELL: Final = 40  # dense tables over the whole box, filled or not
_BASE_BYTES: Final = 300_000_000  # the libraries themselves, and one slab of columns
_ERROR_AT_ONE_BRICK: Final = 0.6  # see the theory: tilted beams err by this over the square
_WALL_SAMPLES: Final = 4000


@dataclass(frozen=True)
class Extent:
    """What the cost of a grid depends on, measured once for many tries.

    Volume, mm3; shell, mm2, by which it grows for each mm of brick; sum of the sides of the box
    along the mesh's axes, mm; its sides along the grid's (3,), mm.
    """

    volume: float
    shell: float
    edge: float
    sides: Floats

    @classmethod
    def of(cls, mesh: trimesh.Trimesh, part: TurnedPart, volume: float) -> Extent:
        """Nodes fill the part and half a brick around it, along each axis."""
        x, y, z = np.abs(part.normals)
        flat = np.maximum(np.maximum(x, y), z) > 0.999
        shell = float(part.areas @ (np.where(flat, 0.5, 1.0) * (x + y + z)))
        (low, high), (bottom, top) = box_of(part.vertices), box_of(np.asarray(mesh.vertices))
        return cls(volume, shell, float(np.sum(top - bottom)), high - low)

    def unknowns(self, brick: float) -> int:
        """Estimate the unknowns of bricks so large."""
        volume = self.volume + self.shell * brick + 2.0 * self.edge * brick**2
        return int(3.0 * volume / brick**3)


@dataclass(frozen=True)
class SagPlan:
    """What a solve will take.

    Parameters
    ----------
    grid : Grid
        The bricks' grid.
    wall_mm : float
        Thinnest load-bearing wall, mm.
    bricks_through : float
        Bricks through that wall.
    unknowns : int
        Estimated number of unknowns.
    memory : int
        Estimated peak memory, bytes.
    expected_error : float
        Expected relative error of the sag of a wall that lies across the grid.
    notes : tuple of str
        What the maker should know before relying on it.
    flats : FlatFaces
        By which other grids of the part are laid.
    extent : Extent
        By which their cost is estimated.
    """

    grid: Grid
    wall_mm: float
    bricks_through: float
    unknowns: int
    memory: int
    expected_error: float
    notes: tuple[str, ...]
    flats: FlatFaces
    extent: Extent

    @property
    def brick_mm(self) -> float:
        """Longest side of a brick, mm."""
        return float(self.grid.size.max())


def thinnest_wall(mesh: trimesh.Trimesh) -> float:
    """Thickness that all but a twentieth of the surface's walls exceed, mm.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.

    Returns
    -------
    float
        The thickness, mm.
    """
    samples = sample_surface(
        mesh, float(np.sqrt(surface_area(mesh.vertices, mesh.faces) / _WALL_SAMPLES))
    )
    walls = thickness_at(mesh, samples.points, samples.facets)
    measured = walls.status == Status.MEASURED
    if not measured.any():
        return float(np.min(mesh.extents))
    return thin_twentieth(walls.thickness[measured], samples.area[measured])


def _estimate_memory(unknowns: int, counts: Floats) -> int:
    """Peak memory of a solve, bytes, for a grid of ``counts`` (3,) bricks."""
    cells = float(np.prod(counts + 2.0))
    return int(_BASE_BYTES + BYTES_PER_UNKNOWN * unknowns + _BYTES_PER_GRID_CELL * cells)


def _finest(extent: Extent, settings: SagSettings) -> float:
    """Smallest brick that the budget allows, mm."""
    extents = extent.sides

    def fits(brick: float) -> bool:
        unknowns = extent.unknowns(brick)
        return (
            unknowns <= settings.max_unknowns
            and _estimate_memory(unknowns, extents / brick) <= settings.max_memory
        )

    low, high = float(extents.max()) / 4000.0, float(extents.max())
    for _ in range(40):
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if fits(middle) else (middle, high)
    return high


def _lay_within(flats: FlatFaces, extent: Extent, brick: float, budget: int) -> tuple[Grid, int]:
    """Grid of about the given bricks: smaller to fit flat faces, or larger to fit the budget."""
    larger = brick * 1.05 ** np.arange(_LARGER_TRIES)
    for side, slack in ((brick, SLACK), *((float(side), 1.0) for side in larger)):
        grid = flats.grid(side, slack)
        unknowns = extent.unknowns(float(np.prod(grid.size) ** (1.0 / 3.0)))
        if unknowns <= budget:
            break
    return grid, unknowns


def plan(mesh: trimesh.Trimesh, settings: SagSettings) -> SagPlan:
    """Choose the bricks for a part and estimate what the solve takes.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A watertight part, mm.
    settings : SagSettings
        Up, brick side and budget.

    Returns
    -------
    SagPlan
        The bricks, and what the solve takes.

    Raises
    ------
    MeshError
        If the mesh is no solid.
    SettingError
        If the bricks asked for, or the coarsest that mean anything, exceed the budget.
    """
    solid = solid_of(mesh)
    if not solid.closed or not solid.volume > 0.0:
        raise MeshError(
            "the sag of a surface that is no closed solid cannot be computed",
            hint="close the mesh and turn its facets outward",
        )
    turn = furnace_turn(mesh, settings.up)
    wall = settings.wall_mm if settings.wall_mm is not None else thinnest_wall(mesh)
    part = turned_part(mesh, turn)
    extent, flats = Extent.of(mesh, part, solid.volume), FlatFaces.of(part)
    finest = _finest(extent, settings)
    wanted = settings.brick_mm
    if wanted is None:
        quick = _finest(extent, replace(settings, max_unknowns=_QUICK))
        wanted = min(wall / settings.bricks_wanted, quick)
    if settings.brick_mm is not None and wanted < finest:
        unknowns = extent.unknowns(wanted)
        raise SettingError(
            f"bricks of {wanted:.3g} mm make about {unknowns:,} unknowns, more than the budget",
            hint=f"bricks of {_round_up(finest):.2g} mm would fit",
        )
    grid, unknowns = _lay_within(flats, extent, max(wanted, finest), settings.max_unknowns)
    return _plan_of(extent, flats, grid, unknowns, wall)


def plan_bricks(like: SagPlan, brick_mm: float) -> SagPlan:
    """The plan of the same part with other bricks.

    Parameters
    ----------
    like : SagPlan
        Its plan so far.
    brick_mm : float
        Largest side of a brick, mm.

    Returns
    -------
    SagPlan
        The plan with such bricks.
    """
    grid = like.flats.grid(brick_mm, 1.0)
    brick = float(np.prod(grid.size) ** (1.0 / 3.0))
    return _plan_of(like.extent, like.flats, grid, like.extent.unknowns(brick), like.wall_mm)


def _plan_of(extent: Extent, flats: FlatFaces, grid: Grid, unknowns: int, wall: float) -> SagPlan:
    """What a grid means for a part of a wall so thick, mm."""
    through = wall / float(grid.size.max())
    notes = []
    if through < FEWEST_BRICKS:
        notes.append(
            f"the thinnest wall ({wall:.2g} mm) is thinner than a brick, so its sag is not sure; "
            f"about {extent.unknowns(wall / BRICKS_WANTED):,} unknowns would do"
        )
    elif through < BRICKS_WANTED - 0.05:
        notes.append(
            f"{through:.1f} bricks through the thinnest wall ({wall:.2g} mm) are fewer than "
            f"{BRICKS_WANTED:.0f}: the sag of thin walls is less sure"
        )
    return SagPlan(
        grid=grid,
        wall_mm=wall,
        bricks_through=through,
        unknowns=unknowns,
        memory=_estimate_memory(unknowns, grid.counts.astype(np.float64)),
        expected_error=min(1.0, _ERROR_AT_ONE_BRICK / through**2),
        notes=tuple(notes),
        flats=flats,
        extent=extent,
    )


def _round_up(value: float) -> float:
    """Round up to two digits."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return float(np.ceil(value / step) * step)
