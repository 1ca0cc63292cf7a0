"""The main job, step by step as a maker would describe it.

Take the batch's shrinkage, scale, look at the walls the printer has to make, take off
what will sag and spread, say what will come out of the furnace, and decide.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
import trimesh

from shrinkrule.calibration import check_balance
from shrinkrule.compensation import (
    Bent,
    GreenPart,
    Print,
    ScaleFactors,
    green_part,
    offset_outlines,
    plate_moved,
    predict_fired,
    turn_up,
    way_up,
)
from shrinkrule.compensation.frames import moved
from shrinkrule.dimensions import (
    Bending,
    PromisedDimension,
    find_dimensions,
    making_of,
    promise_dimensions,
)
from shrinkrule.errors import MeshError, Option
from shrinkrule.job.look import look_at_walls
from shrinkrule.job.recipe import Outline, Recipe
from shrinkrule.job.result import JobResult, WallLook
from shrinkrule.job.room import furnace_fit
from shrinkrule.job.sag_look import SagLook, look_at_sag
from shrinkrule.job.verdict import decide
from shrinkrule.job.written import look_at_written
from shrinkrule.mesh import MovedRays, Part
from shrinkrule.numerics.progress import Progress, part_of, silent
from shrinkrule.numerics.triangles import signed_volume
from shrinkrule.printing import look_at_print

if TYPE_CHECKING:
    from shrinkrule.sag import PrecurveResult

_SHARE_OF_WALLS: Final = 0.5
"""Of a job's time, where sag is only estimated."""

_SHARE_BESIDE_SAG: Final = 0.1
"""Of a job's time, where sag is taken off."""

_PRINT_AT: Final = 0.9
_DIMENSIONS_AT: Final = 0.95
"""When the walls and the sag are done, and what prints badly is."""


def compensate(part: Part, recipe: Recipe, progress: Progress | None = None) -> JobResult:
    """Turn a wanted part into the green part to print.

    Parameters
    ----------
    part : Part
        As read; :meth:`Part.require_solid` is the caller's to ask for.
    recipe : Recipe
        Printer, shrinkage, way up, limits.
    progress : callable, optional
        Called with a stage's name and the fraction done, 0 to 1.

    Returns
    -------
    JobResult
        The mesh to slice, the prediction, the walls, and the verdict.

    Raises
    ------
    ShrinkruleError
        For settings or a mesh that cannot be worked with.
    """
    balance = None if recipe.row is None else check_balance(recipe.row)
    recipe = for_part(recipe, part)
    made = recipe.made
    report = progress or silent
    share_of_walls = _SHARE_OF_WALLS if recipe.sag is None else _SHARE_BESIDE_SAG
    up, turn = way_up(recipe.print_up), recipe.turn_deg
    factors = recipe.scale
    if recipe.whole_layers:
        factors = _to_whole_layers(factors, _wanted_box(part, recipe)[2], made)
    green = green_part(part.mesh, factors, up, turn)
    walls = look_at_walls(
        part,
        green,
        recipe.printer,
        recipe.limits,
        part_of(report, 0.0, share_of_walls),
        coupon_section_mm=recipe.coupon_section,
    )
    volume = part.soundness.volume_mm3 if part.trusted else None
    prediction = predict_fired(green, recipe.row, volume, made)
    rest = part_of(report, share_of_walls, _PRINT_AT - share_of_walls)
    sag = look_at_sag(part, recipe, green, walls.report, prediction, rest)
    curved = _precurved(green, sag.taken_off)
    bent = _bent(green, curved, sag)
    if bent is not None:
        prediction = predict_fired(green, recipe.row, volume, made, bent)
    to_slice = _outlines_moved(curved, walls, recipe)
    printed = replace(green, mesh=curved)
    fit = furnace_fit(part, recipe, printed, sag)
    report("looking at the print", _PRINT_AT)
    printing = look_at_print(green.mesh, recipe.printer) if part.trusted else None
    written = None
    if to_slice is not green.mesh:
        moved_mm = _moved_mm(recipe, green, sag.taken_off)
        written = look_at_written(to_slice, walls, printing, moved_mm)
    verdict = decide(part, recipe, balance, walls, printing, prediction, fit, sag, written, printed)
    report("finding dimensions", _DIMENSIONS_AT)
    # The walls have made the green part ready for rays, and it is the wanted one stretched.
    rays = MovedRays(part.mesh, green.mesh, green.from_model)
    found = find_dimensions(part, rays)
    promised: tuple[PromisedDimension, ...] = ()
    if recipe.row is not None:
        making = making_of(
            part, recipe.row, factors, recipe.print_up, turn, made, _bending(part, sag)
        )
        promised = promise_dimensions(found.every, making)
    report("done", 1.0)
    return JobResult(
        part=part,
        recipe=recipe,
        balance=balance,
        walls=walls,
        to_slice=to_slice,
        prediction=prediction,
        furnace_fit=fit,
        sag_look=sag,
        printing=printing,
        verdict=verdict,
        dimensions=found,
        promised=promised,
        written=written,
        printed=printed,
    )


def for_part(recipe: Recipe, part: Part) -> Recipe:
    """Recipe whose shrinkages hold for the part's own length and height, where these matter.

    Parameters
    ----------
    recipe : Recipe
        What the maker decided.
    part : Part
        The wanted part.

    Returns
    -------
    Recipe
        The same, its row stated for lengths of the part's size.
    """
    if recipe.row is None:
        return recipe
    row = recipe.row.on_a_true_printer() if recipe.printer_corrected else recipe.row
    x, y, z = _wanted_box(part, recipe)
    return replace(recipe, row=row.at_lengths(max(x, y), z))


def _wanted_box(part: Part, recipe: Recipe) -> tuple[float, float, float]:
    """Sides of the wanted part's box as it stands in the print, not turned about Z yet, mm."""
    x, y, z = np.abs(turn_up(way_up(recipe.print_up))) @ np.asarray(part.mesh.extents)
    return float(x), float(y), float(z)


def _to_whole_layers(factors: ScaleFactors, height_mm: float, made: Print) -> ScaleFactors:
    """Factors of which Z is changed by the little that makes the green height whole layers."""
    whole = made.sliced_mm(height_mm * factors.z) - made.plate_mm
    return replace(factors, z=whole / height_mm)


def _precurved(green: GreenPart, sag: PrecurveResult | None) -> trimesh.Trimesh:
    """Green mesh with its sag taken off, where that is asked for and there is any."""
    if sag is None or not sag.rounds:
        return green.mesh
    bent = moved(sag.mesh, green.from_model)
    down = np.eye(4)
    down[2, 3] = -float(np.asarray(bent.vertices)[:, 2].min())
    return moved(bent, down)


def _bent(green: GreenPart, curved: trimesh.Trimesh, look: SagLook) -> Bent | None:
    """What pre-curving does to the box, and what modulus and bricks leave unsure of it.

    The sides change with the sag, which goes as one over the modulus; the allowance takes its
    expected size off. Of a part that sags farther than the model follows nothing is known.
    """
    sag = look.taken_off
    if not look.lost and (sag is None or not sag.rounds):
        return None
    box = np.asarray(curved.extents, dtype=np.float64)
    volume = signed_volume(curved.vertices, curved.faces)
    if look.lost or sag is None:
        return Bent(box, volume, *np.full((2, 3), np.nan))
    wanted = np.asarray(sag.wanted.vertices, dtype=np.float64)
    turn = green.from_model[:3, :3] / green.factors.per_axis[:, None]
    sides, sagged, fired = (
        np.ptp(points @ turn.T, axis=0)
        for points in (wanted, wanted + sag.before.displacement, sag.fired)
    )
    factor = sag.before.modulus_factor
    share = math.nan if factor is None else factor - 1.0
    unsure = np.hypot(share * (sagged - sides), np.nan_to_num(sag.before.numerical_mm))
    return Bent(box, volume, fired - sides, unsure)


def _bending(part: Part, look: SagLook) -> Bending | None:
    """The sag that was taken off, for each dimension; not known where the part is lost."""
    if look.lost:
        wanted = np.asarray(part.mesh.vertices, dtype=np.float64)
        nowhere = np.full_like(wanted, np.nan)
        return Bending(wanted, nowhere, np.zeros_like(wanted), nowhere, math.nan, math.nan)
    sag = look.taken_off
    if sag is None or not sag.rounds:
        return None
    wanted = np.asarray(sag.wanted.vertices, dtype=np.float64)
    factor = sag.before.modulus_factor
    return Bending(
        wanted,
        sag.before.displacement,
        np.asarray(sag.mesh.vertices, dtype=np.float64) - wanted,
        sag.remaining,
        math.nan if factor is None else factor - 1.0,
        sag.before.numerical_mm,
    )


def _moved_mm(recipe: Recipe, green: GreenPart, sag: PrecurveResult | None) -> float:
    """How far pre-curving and outline offset moved a point of the green part at most."""
    spread = 0.0 if recipe.bead_spread is None else abs(recipe.bead_spread.value)
    if sag is None or not sag.rounds:
        return spread + abs(recipe.made.plate_mm)
    sagged = float(np.linalg.norm(sag.before.displacement, axis=1).max())
    return spread + sagged * float(green.factors.per_axis.max())


def _outlines_moved(green: trimesh.Trimesh, walls: WallLook, recipe: Recipe) -> trimesh.Trimesh:
    """Green mesh with the bead's spread taken off its outlines, where that is asked for."""
    spread = recipe.bead_spread
    if recipe.outline is Outline.IN_PRINT or spread is None:
        return green
    name = walls.part.source.name
    samples = walls.report.samples
    thinnest = float(samples.thickness[samples.is_wall].min(initial=math.inf))
    # Two opposite surfaces each move by the offset; half of the wall must be left.
    if thinnest < 4.0 * abs(spread.value):
        raise MeshError(
            f"a wall of {thinnest:.2f} mm is too thin to move its outlines by "
            f"{spread.value:.3f} mm",
            where=name,
            hint="thicken it, or leave the outlines in the mesh as they are",
            options=(Option.OUTLINE,),
        )
    moved_in = offset_outlines(green, -spread.value, name).mesh
    below = recipe.made.plate_mm
    return plate_moved(moved_in, below, name) if below else moved_in
