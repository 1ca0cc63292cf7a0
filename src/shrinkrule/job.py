"""The main job: from the wanted part to the green part, and whether to make it.

Reads like the recipe a maker would tell: look at the part, take the batch's
shrinkage, scale, look at the walls the printer has to make, say what will come out
of the furnace, and decide.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final

import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from shrinkrule.calibration import BalanceCheck, CalibrationRow, check_balance
from shrinkrule.compensation import (
    GreenPart,
    Prediction,
    ScaleFactors,
    green_part,
    offset_outlines,
    predict_fired,
    turn_up,
    way_up,
)
from shrinkrule.compensation.frames import moved
from shrinkrule.compensation.sag import (
    PrecurveResult,
    SagSettings,
    Saving,
    precurve,
    sag_material,
)
from shrinkrule.errors import MeshError, SettingError
from shrinkrule.furnace import CLEARANCE_MM, Furnace, FurnaceFit, fit_in_furnace
from shrinkrule.mesh import Part
from shrinkrule.printer import Printer
from shrinkrule.walls import Finding, FindingKind, WallLimits, WallReport, check_walls

Progress = Callable[[str, float], None]

_SHARE_OF_WALLS: Final = 0.1  # of a job's time, where sag is solved too


class Level(StrEnum):
    """How much a finding weighs, rising."""

    MAKE = "make it"
    LOOK = "look first"
    STOP = "do not make it"


@dataclass(frozen=True)
class Reason:
    """One thing that speaks against making the part as it is."""

    level: Level
    text: str


@dataclass(frozen=True)
class Verdict:
    """Make it or do not make it, and why."""

    reasons: tuple[Reason, ...]

    @property
    def level(self) -> Level:
        """Weight of the heaviest reason."""
        levels = list(Level)
        return max((r.level for r in self.reasons), key=levels.index, default=Level.MAKE)


class Outline(StrEnum):
    """Where the bead's spread is taken off."""

    IN_PRINT = "in the print"
    """The report tells the outline offset to set when slicing."""
    IN_MESH = "in the mesh"
    """Upright surfaces of the green mesh are moved."""


@dataclass(frozen=True)
class Recipe:
    """What the maker decides.

    Parameters
    ----------
    printer : Printer
        Nozzle, bead and layer.
    row : CalibrationRow or None
        Batch to shrink by; or ``factors`` when there is no table.
    factors : ScaleFactors or None
        Oversize factors given by hand; used only without a row.
    row_source : str
        Where the row came from, in words.
    print_up : str
        Model axis that points up in the printer.
    limits : WallLimits
        Beads and layers that a wall and a floor need.
    outline : Outline
        Where the bead's spread is taken off.
    furnace : Furnace or None
        Inside sizes of what the part is fired in, if they are to be checked.
    sag : SagSettings or None
        How the part lies in the furnace, in the model's axes, if its sag is to be taken off.

    Raises
    ------
    SettingError
        If neither or both of row and factors are given.
    """

    printer: Printer
    row: CalibrationRow | None = None
    factors: ScaleFactors | None = None
    row_source: str = ""
    print_up: str = "z"
    limits: WallLimits = field(default_factory=WallLimits)
    outline: Outline = Outline.IN_PRINT
    furnace: Furnace | None = None
    sag: SagSettings | None = None

    def __post_init__(self) -> None:
        if (self.row is None) == (self.factors is None):
            raise SettingError(
                "shrinkage must come either from a table's row or from factors by hand",
                mend="give --table and --row, or --scale-xy and --scale-z",
            )

    @property
    def scale(self) -> ScaleFactors:
        """Oversize factors, from whichever was given."""
        if self.row is not None:
            return ScaleFactors.from_shrinkage(
                self.row.shrinkage_xy.value, self.row.shrinkage_z.value
            )
        if self.factors is None:  # pragma: no cover - refused on construction
            raise SettingError("no shrinkage was given")
        return self.factors


@dataclass(frozen=True)
class Place:
    """A wall finding with what the maker needs to mend it in the wanted model.

    Parameters
    ----------
    finding : Finding
        As measured on the green part, print frame.
    in_model : (3,) float64
        Where it is in the model's own axes, mm.
    wanted_mm : float
        Its smallest value in the wanted part.
    needed_mm : float
        What the wanted part needs there to pass.
    """

    finding: Finding
    in_model: NDArray[np.float64]
    wanted_mm: float
    needed_mm: float


@dataclass(frozen=True)
class WallLook:
    """The wall check of a green part, told in terms of the wanted model."""

    part: Part
    green: GreenPart
    printer: Printer
    report: WallReport
    places: tuple[Place, ...]

    @property
    def too_thin(self) -> bool:
        """Whether a wall or floor is too thin to print at all."""
        return any(place.finding.kind in _TOO_THIN for place in self.places)


@dataclass(frozen=True)
class JobResult:
    """Everything the job found out; the reports only show it.

    ``to_slice`` is the mesh to write: the green part, pre-curved against its sag and with its
    outlines moved if that was asked for. Sizes, volumes and walls are those of the straight
    green part as printed; ``sag`` is told in the model's axes.
    """

    part: Part
    recipe: Recipe
    balance: BalanceCheck | None
    walls: WallLook
    to_slice: trimesh.Trimesh
    prediction: Prediction
    furnace_fit: FurnaceFit | None
    sag: PrecurveResult | None
    verdict: Verdict

    @property
    def green(self) -> GreenPart:
        """The part to print."""
        return self.walls.green


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

    Raises
    ------
    ShrinkruleError
        For settings or a mesh that cannot be worked with.
    """
    balance = None if recipe.row is None else check_balance(recipe.row)
    recipe = _for_this_part(recipe, part)
    told = progress if recipe.sag is None else _part_of(progress, 0.0, _SHARE_OF_WALLS)
    walls = look_at_walls(part, recipe.scale, recipe.print_up, recipe.printer, recipe.limits, told)
    sag = _sag(part, recipe, _part_of(progress, _SHARE_OF_WALLS, 1.0))
    to_slice = _to_slice(walls, recipe, sag)
    volume = part.soundness.volume_mm3 if part.trusted else None
    prediction = predict_fired(walls.green, recipe.row, volume)
    fit = None if recipe.furnace is None else fit_in_furnace(_hull(walls.green), recipe.furnace)
    verdict = _verdict(part, recipe, balance, walls, prediction, fit, sag)
    return JobResult(part, recipe, balance, walls, to_slice, prediction, fit, sag, verdict)


def _part_of(progress: Progress | None, start: float, stop: float) -> Progress | None:
    """Progress of one part of the job, as a share of the whole."""
    if progress is None:
        return None
    whole = progress
    return lambda stage, done: whole(stage, start + (stop - start) * done)


def _sag(part: Part, recipe: Recipe, progress: Progress | None) -> PrecurveResult | None:
    """Pre-curve the wanted part in its fired size, where that is asked for."""
    if recipe.sag is None:
        return None
    if recipe.row is None:
        raise SettingError(
            "sag needs a calibrated batch", mend="give --table and --row, or leave out --sag"
        )
    return precurve(part.mesh, sag_material(recipe.row), recipe.sag, progress=progress)


def _for_this_part(recipe: Recipe, part: Part) -> Recipe:
    """Recipe whose shrinkages hold for the part's own length and height, where these matter."""
    if recipe.row is None:
        return recipe
    box = np.abs(turn_up(way_up(recipe.print_up))) @ np.asarray(part.mesh.extents)
    return replace(recipe, row=recipe.row.at_lengths(float(box[:2].max()), float(box[2])))


def _hull(green: GreenPart) -> NDArray[np.float64]:
    """Points (n, 3) that alone decide how much room a part takes."""
    vertices = np.asarray(green.mesh.vertices, dtype=np.float64)
    # Joggled, so that a part whose outline is a line is no error.
    corners = ConvexHull(vertices[:, :2], qhull_options="QJ").vertices
    extremes = [vertices[:, 2].argmin(), vertices[:, 2].argmax()]
    deciding: NDArray[np.float64] = vertices[np.concatenate([corners, extremes])]
    return deciding


def _to_slice(walls: WallLook, recipe: Recipe, sag: PrecurveResult | None) -> trimesh.Trimesh:
    """Green mesh, with sag and the bead's spread taken off where that is asked for."""
    green = walls.green.mesh
    if sag is not None and sag.rounds:
        bent = moved(sag.mesh, walls.green.from_model)
        down = np.eye(4)
        down[2, 3] = -float(np.asarray(bent.vertices)[:, 2].min())
        green = moved(bent, down)
    if recipe.outline is Outline.IN_PRINT:
        return green
    name = walls.part.source.name
    spread = None if recipe.row is None else recipe.row.bead_offset_mm
    if spread is None:
        raise SettingError(
            "no bead offset is known",
            where=name,
            mend="measure it on a coupon, or leave out --apply-offset",
        )
    samples = walls.report.samples
    thinnest = float(samples.thickness[samples.is_wall].min(initial=math.inf))
    # Two opposite surfaces each move by the offset; half of the wall must be left.
    if thinnest < 4.0 * abs(spread.value):
        raise MeshError(
            f"a wall of {thinnest:.2f} mm is too thin to move its outlines by "
            f"{spread.value:.3f} mm",
            where=name,
            mend="thicken it, or leave out --apply-offset",
        )
    return offset_outlines(green, -spread.value, name).mesh


def look_at_walls(
    part: Part,
    factors: ScaleFactors,
    print_up: str,
    printer: Printer,
    limits: WallLimits,
    progress: Progress | None = None,
) -> WallLook:
    """Scale a part to green and check what the nozzle can print of it.

    Parameters
    ----------
    part : Part
        Wanted part, or a green one with factors of 1.
    factors : ScaleFactors
        Oversize factors, print frame.
    print_up : str
        Model axis that points up in the printer.
    printer, limits : Printer, WallLimits
        What can be printed, and what is asked for.
    progress : callable, optional
        Called with a stage's name and the fraction done.

    Raises
    ------
    ShrinkruleError
        For settings or a mesh that cannot be worked with.
    """
    green = green_part(part.mesh, factors, way_up(print_up))
    report = check_walls(green.mesh, printer, limits, progress=progress)
    places = tuple(_place(finding, green) for finding in report.findings)
    return WallLook(part, green, printer, report, places)


def _place(finding: Finding, green: GreenPart) -> Place:
    to_model = green.to_model
    in_model = to_model[:3, :3] @ np.asarray(finding.position) + to_model[:3, 3]
    scale = green.factors.xy, green.factors.z
    return Place(
        finding,
        in_model,
        finding.wanted_mm(finding.smallest_mm, *scale),
        finding.wanted_mm(finding.limit_mm, *scale),
    )


_TOO_THIN = frozenset({FindingKind.THIN_WALL, FindingKind.THIN_FLOOR})


def _verdict(
    part: Part,
    recipe: Recipe,
    balance: BalanceCheck | None,
    walls: WallLook,
    prediction: Prediction,
    fit: FurnaceFit | None,
    sag: PrecurveResult | None,
) -> Verdict:
    reasons: list[Reason] = []
    if not part.trusted:
        reasons.append(
            Reason(Level.STOP, "the surface is not a sound solid: only its scale can be trusted")
        )
    reasons += [Reason(Level.LOOK, text) for text in part.warnings]
    if fit is not None and not fit.fits:
        reasons.append(
            Reason(
                Level.STOP,
                f"the green part is {-fit.spare_mm:.1f} mm too large for the {recipe.furnace} "
                f"({fit.tight}), with {CLEARANCE_MM:g} mm kept clear all round",
            )
        )
    reasons += _wall_reasons(walls.places)
    reasons += [] if sag is None else _sag_reasons(sag)
    reasons += [Reason(Level.LOOK, text) for text in walls.report.notes]
    if balance is not None and balance.warning:
        reasons.append(Reason(Level.LOOK, balance.warning))
    if recipe.row is not None and "EXTRAPOLATED" in recipe.row.note:
        reasons.append(Reason(Level.LOOK, f"shrinkage is {recipe.row.note}"))
    reasons += [Reason(Level.LOOK, text) for text in prediction.notes]
    return Verdict(tuple(reasons))


def _sag_reasons(sag: PrecurveResult) -> list[Reason]:
    """What the sag and its allowance leave to think about."""
    reasons = [Reason(Level.LOOK, f"sag: {text}") for text in sag.before.warnings]
    if not sag.advice:
        return reasons
    if sag.verdict is Saving.HOPELESS:
        why, *ways = sag.advice
        text = f"sag: {why}; no allowance will save it: {', or '.join(ways)}"
        return [Reason(Level.STOP, text), *reasons]
    return [*(Reason(Level.LOOK, f"sag: {text}") for text in sag.advice), *reasons]


def _wall_reasons(places: tuple[Place, ...]) -> list[Reason]:
    """One reason for each kind of finding, told by its worst place."""
    reasons = []
    for kind in FindingKind:
        of_kind = [place for place in places if place.finding.kind is kind]
        if not of_kind:
            continue
        worst = of_kind[0]
        count = f"{len(of_kind)} place{'s' * (len(of_kind) > 1)}"
        x, y, z = worst.in_model
        compare = "over" if kind is FindingKind.THICK_SECTION else "under"
        reasons.append(
            Reason(
                Level.STOP if kind in _TOO_THIN else Level.LOOK,
                f"{kind.value}: {count}, worst {worst.finding.smallest_mm:.2f} mm green, {compare} "
                f"{worst.finding.limit_mm:.2f} mm, at x {x:.1f}, y {y:.1f}, z {z:.1f} of the model",
            )
        )
    return reasons
