"""The six ways up (orientations) in the furnace, ranked by sag, then height, then footprint."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh

from shrinkrule.compensation.frames import WAYS_UP
from shrinkrule.errors import MeshError
from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.progress import Progress, silent
from shrinkrule.numerics.triangles import surface_area
from shrinkrule.sag.estimate import SagEstimate
from shrinkrule.sag.fem.field import SagField
from shrinkrule.sag.material import SagMaterial
from shrinkrule.sag.plan import plan
from shrinkrule.sag.preparation import prepare
from shrinkrule.sag.settings import SagSettings
from shrinkrule.sag.solve import sag_on_grid

UNKNOWNS_FOR_RANKING: Final = 30_000
"""A ranking needs no more: it compares sags that differ by far more than their errors."""

LEAST_FOOT: Final = 0.1
"""Share of its width that a part must stand on, or it rocks when it is carried (common practice,
no source)."""

_FLOOR: Final = 1e-3  # of the height: facets this near the lowest point stand on the plate


@dataclass(frozen=True)
class WayUp:
    """A part fired with one of its axes upward.

    Parameters
    ----------
    name : str
        The mesh's axis that points up: z, -z, x, -x, y or -y.
    up : tuple of three floats
        The same as a direction.
    stands : bool
        Whether it stands at all.
    reason : str
        Why not, else empty.
    sag_mm : float
        Largest sag, mm; infinite if it does not stand.
    sag_at : (3,) float
        Where, in the mesh's frame, mm.
    height_mm : float
        Height in the furnace, mm.
    footprint_mm2 : float
        Area of the faces that rest on the plate, mm2.
    sideways_mm : float
        Largest movement along the plate, mm: legs that spread; nan if it does not stand.
    field : SagField or None
        The displacement anywhere; None if it does not stand, or bodies were moved apart for it.
    """

    name: str
    up: tuple[float, float, float]
    stands: bool
    reason: str
    sag_mm: float
    sag_at: Floats
    height_mm: float
    footprint_mm2: float
    sideways_mm: float = float("nan")
    field: SagField | None = None


def rank_ways_up(
    mesh: trimesh.Trimesh,
    material: SagMaterial,
    settings: SagSettings,
    *,
    unknowns: int = UNKNOWNS_FOR_RANKING,
    known: SagEstimate | None = None,
    progress: Progress | None = None,
) -> tuple[WayUp, ...]:
    """Rank the six ways up by sag, then height, then footprint; the best comes first.

    Sags closer together than the settings' tolerance count as equal.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A watertight part in its fired size, mm.
    material : SagMaterial
        What sags.
    settings : SagSettings
        Friction, budget and tolerance; its way up and supports are left aside.
    unknowns : int
        Unknowns that the first way up may take; the others take the same bricks.
    known : SagEstimate or None
        Estimate for the settings' own way up on so many unknowns: it is then not solved again.
    progress : callable or None
        Called with the stage and the share done, 0 to 1.

    Returns
    -------
    tuple of WayUp
        All six, the best first.

    Raises
    ------
    MeshError
        If the mesh is no solid.
    SettingError
        If it does not fit the budget.
    """
    report = progress or silent
    budget = min(settings.max_unknowns, unknowns)
    rough = replace(settings, max_unknowns=budget, supports=(), brick_mm=None)
    planned = plan(mesh, rough)
    # One brick for all ways, whatever it takes, so that none is ranked by coarser bricks.
    alike = replace(
        rough,
        brick_mm=planned.brick_mm,
        wall_mm=planned.wall_mm,
        max_unknowns=settings.max_unknowns,
    )
    found = []
    for number, (name, up) in enumerate(WAYS_UP.items()):
        report(f"trying {name} up", number / len(WAYS_UP))
        lying = replace(alike, furnace_up=(float(up[0]), float(up[1]), float(up[2])))
        same = known is not None and not settings.supports and np.allclose(up, settings.up)
        found.append(_try(mesh, material, lying, name, known if same else None))
    report("ranked", 1.0)
    tolerance = settings.tolerance_mm
    return tuple(
        sorted(
            found,
            key=lambda way: (
                not way.stands,
                round(way.sag_mm / tolerance) if way.stands else 0,
                way.height_mm,
                -way.footprint_mm2,
            ),
        )
    )


def _try(
    mesh: trimesh.Trimesh,
    material: SagMaterial,
    lying: SagSettings,
    name: str,
    known: SagEstimate | None,
) -> WayUp:
    """The part fired one way up; if it does not stand, the reason."""
    vertices, facets = np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces)
    heights = vertices @ lying.up
    height = float(np.ptp(heights))
    highest = np.maximum.reduce([heights[corner] for corner in facets.T])
    footprint = surface_area(vertices, facets[highest <= heights.min() + _FLOOR * height])
    shape = WayUp(name, lying.furnace_up, True, "", np.inf, np.full(3, np.nan), height, footprint)
    if foot_share(mesh, lying.up) < LEAST_FOOT:
        return replace(shape, stands=False, reason="it rests on a line or a point and rolls")
    if known is not None and known.field is not None:
        return _with_sag(shape, known.field, known.sag_mm, known.at_mm, whole=True)
    try:
        problem = prepare(mesh, material, lying)
        field = sag_on_grid(problem.mesh, problem.plan.grid, material, lying).field
    except MeshError as refusal:
        return replace(shape, stands=False, reason=refusal.what)
    sag, where = field.lowest()
    return _with_sag(shape, field, sag, problem.bodies.back(where), problem.mesh is mesh)


def _with_sag(shape: WayUp, field: SagField, sag_mm: float, at_mm: Floats, whole: bool) -> WayUp:
    """A way up with its sag, where, and how far anything moves along the plate."""
    solid = np.unique(field.bricks.corners[field.bricks.filled > 0.5])
    sideways = float(np.linalg.norm(field.displacement[solid, :2], axis=1).max())
    return replace(
        shape,
        sag_mm=sag_mm,
        sag_at=at_mm,
        sideways_mm=sideways,
        field=field if whole else None,
    )


def foot_share(mesh: trimesh.Trimesh, up: Floats) -> float:
    """Least share of its width, over all directions on the plate, that a part stands on.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    up : (3,) float
        Unit vector that points up.

    Returns
    -------
    float
        0 on a line or a point, 1 where it stands on its whole outline.
    """
    points = np.asarray(mesh.vertices, dtype=np.float64)
    heights = points @ up
    floor = points[heights <= heights.min() + _FLOOR * float(np.ptp(heights))]
    across = np.linalg.svd(up[None])[2][1:]
    turns = np.radians(np.arange(0.0, 180.0, 3.0))
    ways = across.T @ np.vstack([np.cos(turns), np.sin(turns)])
    return float((np.ptp(floor @ ways, axis=0) / np.ptp(points @ ways, axis=0)).min())
