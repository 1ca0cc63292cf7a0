"""What the job found out, for the reports to show."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import trimesh

from shrinkrule.calibration import BalanceCheck
from shrinkrule.compensation import GreenPart, Prediction
from shrinkrule.furnace import FurnaceFit
from shrinkrule.job.recipe import Recipe
from shrinkrule.mesh import Part
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printer import Printer
from shrinkrule.sag import PrecurveResult
from shrinkrule.walls import Finding, FindingKind, ThicknessScale, WallLimits, WallReport

TOO_THIN: Final = frozenset({FindingKind.THIN_WALL, FindingKind.THIN_FLOOR})
"""Kinds of place that do not print at all."""


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


@dataclass(frozen=True)
class Place:
    """A wall finding with what the maker needs to mend it in the wanted model.

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
    binder_time : float or None
        As :meth:`WallLook.binder_time`, for a thick section.
    """

    finding: Finding
    in_model: Floats
    box_in_model: Floats
    wanted_mm: float
    needed_mm: float
    binder_time: float | None = None


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

    Examples
    --------
    >>> binder_time(13.6, 6.8)
    4.0
    """
    if coupon_section_mm is None:
        return None
    return (section_mm / coupon_section_mm) ** 2


def longer_than_coupon(ratio: float) -> str:
    """Say what :func:`binder_time` found.

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
    """Round a guess as a guess is told: 1.4, 4, 17."""
    return f"{ratio:.1f}" if ratio < 1.95 else f"{ratio:.0f}"


@dataclass(frozen=True)
class WallLook:
    """The wall check of a green part, told in terms of the wanted model.

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
        """Whether a wall or floor is too thin to print at all."""
        return any(place.finding.kind in TOO_THIN for place in self.places)


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
