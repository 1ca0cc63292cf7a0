"""What the job found out, for the reports to show."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
import trimesh

from shrinkrule.calibration import BalanceCheck
from shrinkrule.compensation import GreenPart, Prediction
from shrinkrule.dimensions import FoundDimensions, PromisedDimension
from shrinkrule.furnace import FurnaceFit
from shrinkrule.job.checks import Verdict
from shrinkrule.job.recipe import Recipe
from shrinkrule.job.sag_look import SagLook
from shrinkrule.mesh import Part
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printer import Printer
from shrinkrule.printing import PrintFinding, PrintLook
from shrinkrule.walls import Finding, FindingKind, ThicknessScale, WallLimits, WallReport, Weight

if TYPE_CHECKING:
    from shrinkrule.sag import PrecurveResult

ALIKE_SIZE: Final = 0.03
"""Places whose smallest measure differs by less than this share may be alike."""

ALIKE_SHAPE: Final = 0.1
"""The same for how far they spread, ..."""

ALIKE_AREA: Final = 0.25
"""... and for their areas."""

ALIKE_MM: Final = 0.3
"""No difference under this, in mm or mm2, makes two places different; half of it in thickness."""


@dataclass(frozen=True)
class Place:
    """A wall finding with what the maker needs to change in the wanted model.

    Parameters
    ----------
    finding : Finding
        As measured on the green part, print frame.
    in_model : (3,) float64
        Where it is in the model's own axes, mm.
    box_in_model : (2, 3) float64
        Lowest and highest corner of the place there, mm.
    wanted_mm : float
        Its smallest value in the wanted part.
    needed_mm : float
        What the wanted part needs there to pass.
    sound_mm : float or None
        What it needs to be sound, where that is more.
    binder_time : float or None
        As :meth:`WallLook.binder_time`, for a thick section.
    """

    finding: Finding
    in_model: Floats
    box_in_model: Floats
    wanted_mm: float
    needed_mm: float
    sound_mm: float | None = None
    binder_time: float | None = None


@dataclass(frozen=True)
class Row:
    """Places alike: of one kind, one size and one shape.

    Parameters
    ----------
    places : tuple of Place
        The worst first.
    """

    places: tuple[Place, ...]

    @property
    def worst(self) -> Place:
        """The place that stands for all."""
        return self.places[0]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.places)


def alike_places(places: tuple[Place, ...]) -> tuple[Row, ...]:
    """Gather places of one kind whose size and shape differ by little.

    Parameters
    ----------
    places : tuple of Place
        Findings of a part.

    Returns
    -------
    tuple of Row
        The groups.
    """
    if not places:
        return ()
    # Size, spread along its own axes, and area: what a maker would call the same.
    shapes = np.array(
        [[p.finding.smallest_mm, *_spread(p.finding), p.finding.area_mm2] for p in places]
    )
    kinds = np.array([place.finding.kind.value for place in places])
    slack = np.array([ALIKE_SIZE, ALIKE_SHAPE, ALIKE_SHAPE, ALIKE_SHAPE, ALIKE_AREA])
    least = np.array([0.5 * ALIKE_MM, ALIKE_MM, ALIKE_MM, ALIKE_MM, ALIKE_MM])
    free = np.ones(len(places), dtype=np.bool_)
    rows = []
    while free.any():
        first = int(np.argmax(free))
        near = np.abs(shapes - shapes[first]) <= np.maximum(slack * shapes[first], least)
        same = np.flatnonzero(free & (kinds == kinds[first]) & near.all(axis=1))
        free[same] = False
        thick = places[first].finding.kind is FindingKind.THICK_SECTION
        order = np.argsort((-1.0 if thick else 1.0) * shapes[same, 0], kind="stable")
        rows.append(Row(tuple(places[i] for i in same[order])))
    return tuple(sorted(rows, key=lambda row: _how_bad(row.worst.finding)))


def _how_bad(finding: Finding) -> tuple[int, float, float]:
    """Key that puts the worst first: the gravest kind, the worst of it, and of those the largest.

    Measures are compared as they are shown: a difference that nobody sees decides nothing.
    """
    measure = finding.smallest_mm
    if finding.kind is FindingKind.THICK_SECTION:
        measure = -finding.smallest_mm
    elif finding.kind is FindingKind.KNIFE_EDGE:
        measure = -(finding.loss_mm or 0.0)
    return finding.severity, round(measure, 2), -finding.area_mm2


def _spread(finding: Finding) -> tuple[float, ...]:
    """How far a finding spreads, the longest last; that of its box where the layers told it."""
    if finding.spread_mm is not None:
        return finding.spread_mm
    return tuple(np.sort(np.ptp(np.array(finding.box), axis=0)) / np.sqrt(12.0))


def binder_time(section_mm: float, coupon_section_mm: float | None) -> float | None:
    """How many times as long as in the coupon binder takes to leave a green section.

    The time of diffusion goes with the square of thickness: common practice, no source. A guide
    for sections thicker than the coupon's, no schedule.

    Parameters
    ----------
    section_mm : float
        Largest ball in the section, mm of the green part.
    coupon_section_mm : float or None
        The same of the coupon; None where it is not known, and so is the answer.

    Returns
    -------
    float or None
        The ratio of the times.

    Examples
    --------
    >>> binder_time(13.6, 6.8)
    4.0
    """
    if coupon_section_mm is None:
        return None
    return (section_mm / coupon_section_mm) ** 2


def place_words(in_model: Floats) -> str:
    """A place (3,), mm, in the model's own axes, for a sentence.

    Parameters
    ----------
    in_model : (3,) float64
        The place, mm.

    Returns
    -------
    str
        Its coordinates in words.

    Examples
    --------
    >>> place_words(np.array([1.0, -0.04, 20.26]))
    'x 1.0, y 0.0, z 20.3 of the model'
    """
    x, y, z = in_model
    return f"x {x:z.1f}, y {y:z.1f}, z {z:z.1f} of the model"


def longer_than_coupon(ratio: float) -> str:
    """Say what :func:`binder_time` found.

    Parameters
    ----------
    ratio : float
        As from :func:`binder_time`.

    Returns
    -------
    str
        A sentence without its full stop.

    Examples
    --------
    >>> longer_than_coupon(4.36)
    'its binder may need about 4 times as long to leave as in the coupon (common practice)'
    """
    return (
        f"its binder may need about {times(ratio)} times as long to leave as in the coupon "
        "(common practice)"
    )


def times(ratio: float) -> str:
    """Round a guess to what can be guessed: 1.4, 4, 17.

    Parameters
    ----------
    ratio : float
        A ratio that is a guess.

    Returns
    -------
    str
        The ratio with as many digits as it is worth.
    """
    return f"{ratio:.1f}" if ratio < 1.95 else f"{ratio:.0f}"


@dataclass(frozen=True)
class WallLook:
    """The wall check of a green part, in terms of the wanted model.

    Parameters
    ----------
    part : Part
        As it was read.
    green : GreenPart
        What was looked at.
    printer, limits : Printer, WallLimits
        What can be printed, and what was asked for.
    report : WallReport
        What was found.
    places : tuple of Place
        Its findings, in the model's terms.
    coupon_section_mm : float or None
        Thickest section of the green coupon that lost its binder in the same process.
    """

    part: Part
    green: GreenPart
    printer: Printer
    limits: WallLimits
    report: WallReport
    places: tuple[Place, ...]
    coupon_section_mm: float | None = None

    @property
    def scale(self) -> ThicknessScale:
        """Colours of wall thickness, in pictures and coloured meshes alike."""
        return ThicknessScale.of(self.printer, self.limits)

    @property
    def thickest_in_model(self) -> Floats:
        """Middle (3,) of the thickest section in the model's own axes, mm."""
        there: Floats = self.green.in_model(np.array([self.report.thickest_at]))[0]
        return there

    def binder_time(self, section_mm: float) -> float | None:
        """As :func:`binder_time`, beside this look's coupon."""
        return binder_time(section_mm, self.coupon_section_mm)

    @property
    def too_thin(self) -> bool:
        """Whether a wall, floor or pin is too thin to print at all."""
        return any(place.finding.kind.weight is Weight.STOP for place in self.places)

    @property
    def why_no_pass(self) -> str:
        """Why a check for thin walls is not passed, empty where it is."""
        if self.too_thin:
            return "something is too thin to print"
        if not (self.part.trusted and self.report.trusted):
            why = next(iter(self.report.notes), "the surface is not a sound solid")
            return f"the walls of this mesh cannot be trusted: {why}"
        return ""

    @cached_property
    def rows(self) -> tuple[Row, ...]:
        """Places alike together, in order of what matters."""
        return alike_places(self.places)


@dataclass(frozen=True)
class WrittenLook:
    """What a mesh that was pre-curved, or whose outlines were moved, shows beyond the straight one.

    Parameters
    ----------
    walls : tuple of Place
        Findings of the wall check that are new.
    printing : tuple of PrintFinding
        Places that print badly and are new.
    notes : tuple of str
        What the wall check could not trust, beyond what it could not of the straight part.
    """

    walls: tuple[Place, ...]
    printing: tuple[PrintFinding, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class JobResult:
    """Everything the job found out; the reports only show it.

    ``to_slice`` is the mesh to write: the green part, pre-curved against its sag and with its
    outlines moved if that was asked for. Walls and undersides are those of the straight
    green part; ``printed`` is the green part pre-curved, its outlines not moved yet: sizes, volume,
    layers and room are of that. ``written`` is what the mesh to write shows beyond the straight
    part, None where it is the straight part; ``sag_look`` is in the model's axes, ``printing`` in
    the print frame, and None for a surface that is no sound solid. ``dimensions`` are those of
    the wanted part, ``promised`` how they will come out, in the same order, where a row says so.
    """

    part: Part
    recipe: Recipe
    balance: BalanceCheck | None
    walls: WallLook
    to_slice: trimesh.Trimesh
    prediction: Prediction
    furnace_fit: FurnaceFit | None
    sag_look: SagLook
    printing: PrintLook | None
    verdict: Verdict
    dimensions: FoundDimensions | None = None
    promised: tuple[PromisedDimension, ...] = ()
    written: WrittenLook | None = None
    printed: GreenPart | None = None

    @property
    def green(self) -> GreenPart:
        """The part to print."""
        return self.walls.green

    @property
    def sag(self) -> PrecurveResult | None:
        """The sag and its allowance, where it is taken off."""
        return self.sag_look.taken_off
