"""What the job found out, for the reports to show."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import trimesh
from numpy.typing import NDArray

from shrinkrule.calibration import BalanceCheck
from shrinkrule.compensation import GreenPart, Prediction
from shrinkrule.compensation.sag import PrecurveResult
from shrinkrule.furnace import FurnaceFit
from shrinkrule.job.recipe import Recipe
from shrinkrule.mesh import Part
from shrinkrule.printer import Printer
from shrinkrule.walls import Finding, FindingKind, WallReport

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
