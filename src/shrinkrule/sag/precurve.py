"""Pre-curving, the allowance for sag: the shape that sags into the wanted one.

The computed displacement is subtracted from the vertices, the pre-curved part is fired in
the solver, and what then differs from the wanted part is subtracted again, until the
difference is small enough or no longer decreases.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
import trimesh

from shrinkrule.mesh.refine import refine_where
from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.numerics.progress import Progress, silent, stage_of
from shrinkrule.sag.fem.field import SagField
from shrinkrule.sag.material import SagMaterial
from shrinkrule.sag.preparation import SagProblem, prepare
from shrinkrule.sag.result import DROP_SHARE, LARGEST_SLOPE, SagResult, describe
from shrinkrule.sag.settings import Base, SagSettings
from shrinkrule.sag.solve import sag_on_grid
from shrinkrule.sag.steering import SureSag, solve_surely
from shrinkrule.sag.voxels.grid import lay_grid

ANOTHER_WAY: Final = "try another way up"
"""Remedy in place of which a caller that knows the best way up names it."""

ENOUGH_SHARE: Final = 0.05
"""Pre-curving a part that sags little goes on until this share of its sag remains."""

_WORTH_THICKER: Final = (1.1, 3.5)
"""Thicker by less is not worth a change; by more, the wall is not what carries the part
(judgement)."""
_SMALL_FOOTING: Final = 0.02  # of the plan: a smaller footing is flattened by the part's weight
_UNRULY_SHARE: Final = 0.3  # of the sag: if more remains, further rounds do not help
_STALLED: Final = 0.8  # of the best error so far: a round that improves less is the last
_FIRST_PIECES: Final = 8  # edges longer than this share of the part are split before looking
_BEND_SHARE: Final = 0.25  # of the tolerance: a facet may miss the curve by this much


class Saving(StrEnum):
    """What pre-curving does for a part."""

    NOT_NEEDED = "not needed"
    SAVED = "saved"
    PARTLY = "partly saved"
    HOPELESS = "no allowance will save it"


@dataclass(frozen=True)
class PrecurveResult:
    """A pre-curved part and what it will do.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The pre-curved part, in the frame and size of the given one.
    wanted : trimesh.Trimesh
        The given part with the same vertices and facets as ``mesh``, for maps of the sag.
    before : SagResult
        Sag of the part as given, on the vertices of ``wanted``.
    fired : (n, 3) float
        Where the vertices of ``mesh`` come to lie, mm.
    rounds : int
        How often the pre-curved part was fired in the solver.
    errors_mm : tuple of float
        Largest remaining error after each of them, mm.
    verdict : Saving
        What the allowance does.
    advice : tuple of str
        Why, and what would help.
    """

    mesh: trimesh.Trimesh
    wanted: trimesh.Trimesh
    before: SagResult
    fired: Floats
    rounds: int
    errors_mm: tuple[float, ...]
    verdict: Saving
    advice: tuple[str, ...]

    @property
    def sag_before_mm(self) -> float:
        """Largest sag without allowance, mm."""
        return self.before.largest_sag_mm

    @property
    def remaining_mm(self) -> float:
        """Largest distance of the fired pre-curved part's vertices from the wanted ones, mm."""
        return min(self.errors_mm)

    @property
    def unsure_mm(self) -> float:
        """How far modulus and bricks leave the place that moves most unsure (95 %), mm.

        The wider way, with more sag than computed; nan where how far firings differ is not known.
        """
        factor = self.before.modulus_factor
        if factor is None or self.before.slumps:
            return math.nan
        return math.hypot((factor - 1.0) * _reach(self.before), self.before.numerical_mm)

    @property
    def moves_most_at(self) -> Floats:
        """Place (3,) of the wanted part that moves most without allowance, mm."""
        most = int(np.linalg.norm(self.before.displacement, axis=1).argmax())
        place: Floats = np.asarray(self.wanted.vertices, dtype=np.float64)[most]
        return place

    @property
    def remaining(self) -> Floats:
        """Fired minus wanted position of each vertex, (n, 3) mm."""
        difference: Floats = self.fired - np.asarray(self.wanted.vertices)
        return difference


def precurve(
    mesh: trimesh.Trimesh,
    material: SagMaterial,
    settings: SagSettings,
    *,
    progress: Progress | None = None,
) -> PrecurveResult:
    """Pre-curve a part so that it fires straight.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The wanted part in its fired size, watertight, mm.
    material : SagMaterial
        What sags.
    settings : SagSettings
        How it lies, how finely it is solved, and when to stop.
    progress : callable or None
        Called with the stage and the share done, 0 to 1.

    Returns
    -------
    PrecurveResult
        The shape to print, and what it becomes.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    SettingError
        If it does not fit the budget.
    """
    report = progress or silent
    report("planning", 0.0)
    problem = prepare(mesh, material, settings)
    bodies, wall_mm = problem.bodies, problem.plan.wall_mm
    share = 1.0 / (settings.max_rounds + 1)
    sure = solve_surely(problem, report, "sag as given", 0.0, share)
    first, problem = sure.solved, replace(problem, plan=sure.plan)
    before = describe(bodies.mesh, problem, first, sure.numerical_mm)
    hopeless = why_hopeless(before, wall_mm, settings)
    # What is not bent is split only as far as a picture of its sag needs.
    wanted = refine_to_follow(
        bodies.mesh, first.field, math.inf if hopeless else settings.tolerance_mm
    )
    moved = first.field.at(np.asarray(wanted.vertices))
    before = replace(before, displacement=moved)
    home = bodies.put_back(wanted)
    if hopeless or _reach(before) < settings.tolerance_mm:
        report("looked at the sag", 1.0)
        verdict = Saving.HOPELESS if hopeless else Saving.NOT_NEEDED
        advice = (*hopeless, *what_helps(before, wall_mm)) if hopeless else ()
        fired = np.asarray(home.vertices) + before.displacement
        return PrecurveResult(home, home, before, fired, 0, (_reach(before),), verdict, advice)
    firings = _fire_until_straight(wanted, before, sure, problem, report)
    best = min(firings, key=lambda firing: firing.error_mm)
    report("pre-curved", 1.0)
    verdict, advice = _judge(best, wanted, before, wall_mm, settings)
    return PrecurveResult(
        mesh=bodies.put_back(best.mesh),
        wanted=home,
        before=before,
        fired=best.fired - bodies.shift_of(wanted),
        rounds=len(firings),
        errors_mm=tuple(firing.error_mm for firing in firings),
        verdict=verdict,
        advice=advice,
    )


@dataclass(frozen=True)
class _Firing:
    """A pre-curved part, where its vertices come to lie, and by how much they miss."""

    mesh: trimesh.Trimesh
    fired: Floats
    error_mm: float


def _fire_until_straight(
    wanted: trimesh.Trimesh,
    before: SagResult,
    sure: SureSag,
    problem: SagProblem,
    report: Progress,
) -> list[_Firing]:
    """Fire and correct the pre-curved part, until it is straight or no longer improves."""
    settings, planned = problem.settings, problem.plan
    target = np.asarray(wanted.vertices, dtype=np.float64)
    floor = float((target @ settings.up).min())
    keep_flat = settings.base is Base.FLAT or bool(settings.supports)
    enough = min(settings.tolerance_mm, ENOUGH_SHARE * _reach(before))
    share = 1.0 / (settings.max_rounds + 1)
    shape, solved = target - before.displacement, sure.solved
    # What finer bricks would add hardly changes with so small a change of shape.
    lacks = 0.0 if sure.correction is None else sure.correction.at(target)
    firings: list[_Firing] = []
    for number in range(1, settings.max_rounds + 1):
        if keep_flat:
            shape = _above(shape, settings.up, floor)
        bent = trimesh.Trimesh(shape, wanted.faces, process=False)
        grid = lay_grid(bent, planned.grid.turn, planned.brick_mm, slack=1.0)
        stage = f"firing the pre-curved part, round {number}"
        tick = stage_of(report, stage, number * share, share)
        solved = sag_on_grid(bent, grid, problem.material, settings, solved, tick, wanted)
        fired = lay_on_plate(shape + solved.field.at(shape) + lacks, shape, target, settings.up)
        miss = fired - target
        error = float(np.linalg.norm(miss, axis=1).max())
        best = min((firing.error_mm for firing in firings), default=np.inf)
        firings.append(_Firing(bent, fired, error))
        if error < enough or error > _STALLED * best:
            break
        shape = shape - miss
    return firings


def refine_to_follow(
    mesh: trimesh.Trimesh, field: SagField, tolerance_mm: float
) -> trimesh.Trimesh:
    """Split facets where their edges would miss the curve of the sag.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part.
    field : SagField
        Its sag.
    tolerance_mm : float
        Tolerance of the pre-curving; an edge may miss the curve by a quarter of it. Infinite:
        only edges that are long for the part are split.

    Returns
    -------
    trimesh.Trimesh
        The part with more vertices; its own come first.
    """
    longest = float(np.max(mesh.extents)) / _FIRST_PIECES
    shortest = float(field.grid.size.min())

    def bends(ends: Floats) -> Mask:
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        split: Mask = length > longest
        # Where that alone decides, the field is not asked.
        asked = (length > 2.0 * shortest) & ~split & np.isfinite(tolerance_mm)
        long = np.flatnonzero(asked)
        if not len(long):
            return split
        moved = field.at(ends[long].reshape(-1, 3)).reshape(-1, 2, 3)
        off = field.at(ends[long].mean(axis=1)) - moved.mean(axis=1)
        split[long] = np.linalg.norm(off, axis=1) > _BEND_SHARE * tolerance_mm
        return split

    return refine_where(mesh, bends)


def lay_on_plate(fired: Floats, shape: Floats, target: Floats, up: Floats) -> Floats:
    """Lay a fired part on the plate of the wanted one, where it differs least from it in plan.

    Parameters
    ----------
    fired : (n, 3) float
        Vertices after firing, mm.
    shape : (n, 3) float
        The same vertices before; the lowest of them stood on the plate.
    target : (n, 3) float
        Where they should be; the lowest of these stand on the plate.
    up : (3,) float
        Upward unit vector.

    Returns
    -------
    (n, 3) float
        The fired vertices on that plate, mm.
    """
    moved = fired + ((target @ up).min() - (shape @ up).min()) * up
    middle = target.mean(axis=0)
    arms = np.cross(up, target - middle)
    miss = target - moved
    flat = miss - np.outer(miss @ up, up)
    turn = float((flat * arms).sum() / max(float((arms**2).sum()), 1e-300))
    placed: Floats = moved + flat.mean(axis=0) + turn * arms
    return placed


def _above(points: Floats, up: Floats, base: float) -> Floats:
    """Points (n, 3), those below the height ``base`` raised to it along ``up``."""
    return points + np.outer(np.maximum(base - points @ up, 0.0), up)


def _reach(result: SagResult) -> float:
    """Largest displacement of any vertex, mm."""
    return float(np.linalg.norm(result.displacement, axis=1).max())


def why_hopeless(before: SagResult, wall_mm: float, settings: SagSettings) -> tuple[str, ...]:
    """Reasons why no allowance will save a part; empty if there are none.

    Parameters
    ----------
    before : SagResult
        Sag of the part as given.
    wall_mm : float
        Its thinnest load-bearing wall, mm.
    settings : SagSettings
        Tolerance of the pre-curving.

    Returns
    -------
    tuple of str
        The reasons.
    """
    sag = before.largest_sag_mm
    if before.slumps:
        return (f"it slumps this way up, straining by {100 * before.largest_strain:.0f} %",)
    if before.drop_to_plate_mm > max(10.0 * settings.tolerance_mm, DROP_SHARE * wall_mm):
        return (f"it sags down by {before.drop_to_plate_mm:.2g} mm onto what lies below",)
    gap = before.self_contact
    if gap is not None and gap.share >= 1.0:
        x, y, z = gap.at
        return (
            f"at {x:.1f}, {y:.1f}, {z:.1f} it sags by {gap.closes_mm:.2g} mm across "
            f"a gap of {gap.gap_mm:.2g} mm onto what lies below",
        )
    if sag > wall_mm:
        return (f"its sag of {sag:.2g} mm is more than its thinnest wall of {wall_mm:.2g} mm",)
    return ()


def what_helps(before: SagResult, wall_mm: float) -> tuple[str, ...]:
    """What would lessen the sag.

    Parameters
    ----------
    before : SagResult
        Sag of the part as given.
    wall_mm : float
        Its thinnest load-bearing wall, mm.

    Returns
    -------
    tuple of str
        What to try.
    """
    remedies = [
        ANOTHER_WAY,
        "hold the place that sags most with a setter block or ballast",
    ]
    if before.footing_share < _SMALL_FOOTING:
        remedies.insert(0, "bed its underside in a setter block: it stands on next to nothing")
    # A wall under its own weight sags as 1 / h^2; this is the h at which the sag is h / 10.
    thicker = (10.0 * before.largest_sag_mm * wall_mm**2) ** (1.0 / 3.0)
    # How far it slumps is not known, so no thickness follows from it.
    if not before.slumps and _WORTH_THICKER[0] <= thicker / wall_mm <= _WORTH_THICKER[1]:
        remedies.append(
            f"make the wall that carries it {thicker:.2g} instead of {wall_mm:.2g} mm thick"
        )
    return tuple(remedies)


def _judge(
    best: _Firing,
    wanted: trimesh.Trimesh,
    before: SagResult,
    wall_mm: float,
    settings: SagSettings,
) -> tuple[Saving, tuple[str, ...]]:
    """Judge what the allowance does, what to watch for, and what would help."""
    notes = []
    if before.steepest > LARGEST_SLOPE:
        notes.append("it turns too far for the linear model: fire a trial part first")
    floor = float((np.asarray(wanted.vertices) @ settings.up).min())
    lowered = floor - float((np.asarray(best.mesh.vertices) @ settings.up).min())
    if lowered > settings.tolerance_mm:
        notes.append(
            f"its underside is curved by {lowered:.2g} mm: print it on a raft, "
            "or have the base kept flat"
        )
    if best.error_mm < settings.tolerance_mm:
        return Saving.SAVED, tuple(notes)
    if best.error_mm > _UNRULY_SHARE * _reach(before):
        notes.append(
            "it is so soft that bending it anew changes its sag: near buckling or slumping"
        )
    if before.rolls or before.footing_share < _SMALL_FOOTING:
        notes.append("what rests on a line or a point is flattened there, whatever its shape")
    notes.append(f"{best.error_mm:.2g} mm remain, more than {settings.tolerance_mm:.2g} mm")
    return Saving.PARTLY, (*notes, *what_helps(before, wall_mm))
