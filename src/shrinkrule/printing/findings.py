"""Places that print badly, each with its measure, its limit and the reason for the limit."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

Vector = tuple[float, float, float]

STEEPEST_DEG: Final = 44.0
"""Undersides flatter than 45 degrees: then each layer reaches out by more than its height, which
is about half a bead, and the bead's middle lies on nothing. A degree less, so that a chamfer
drawn at 45 passes."""

BEADS_CARRIED: Final = 2.0
"""How far out, in beads, an underside may reach that nothing holds: one bead hangs on the layer's
edge and a second on that one, drooping; the third has nothing to hang on."""

LONG_SPAN_MM: Final = 10.0
"""Longest span that a bead bridges without sagging by about a layer: metal-filled filament is
heavy and cools slowly."""

SLENDER: Final = 10.0
"""Height over thickness from which a free-standing wall or pin sways under the nozzle, and is
easily broken while it is brown."""

LEAST_AREA_BEADS: Final = 4.0
"""Undersides under so many squares of a bead are smaller than the blobs of any print."""

LEAST_HOLLOW_BEADS: Final = 8.0
"""Hollows under so many cubes of a bead print full or are voids like those between beads."""


class PrintKind(StrEnum):
    """What prints badly at a place, in the order of what matters."""

    STARTS_IN_AIR = "starts in air"
    UNHELD_UNDERSIDE = "unheld underside"
    LONG_SPAN = "long span"
    SLENDER = "slender wall or pin"
    CLOSED_HOLLOW = "closed hollow"


@dataclass(frozen=True)
class PrintFinding:
    """One place of the green part that prints badly.

    Parameters
    ----------
    kind : PrintKind
        What is wrong.
    measure : float
        What was measured: mm (height above what lies below, reach, span), a ratio (slender),
        or mm3 (hollow).
    limit : float
        What it is compared with, in the same unit.
    position : tuple of 3 float
        Where, print frame, mm.
    box : tuple of two tuples of 3 float
        Lowest and highest corner of the place, print frame, mm.
    area_mm2 : float
        Area of the underside, as seen from below, or of the foot that stands on nothing.
    """

    kind: PrintKind
    measure: float
    limit: float
    position: Vector
    box: tuple[Vector, Vector]
    area_mm2: float

    @property
    def text(self) -> str:
        """What was measured, in words."""
        match self.kind:
            case PrintKind.STARTS_IN_AIR:
                return f"begins {self.measure:.1f} mm above what lies below it"
            case PrintKind.UNHELD_UNDERSIDE:
                return (
                    f"{self.area_mm2:.0f} mm² flatter than 45 degrees reach {self.measure:.1f} mm "
                    f"beyond what holds them, where a bead carries {self.limit:.1f} mm"
                )
            case PrintKind.LONG_SPAN:
                return f"{self.measure:.1f} mm green are bridged, over {self.limit:.0f} mm"
            case PrintKind.SLENDER:
                return f"{self.measure:.0f} times as high as thick, over {self.limit:.0f} times"
            case PrintKind.CLOSED_HOLLOW:
                return (
                    f"{self.measure:.0f} mm³ green: binder must leave through its wall, and no "
                    "ballast can hold its roof"
                )


@dataclass(frozen=True)
class PrintLook:
    """All places of a green part that print badly.

    Parameters
    ----------
    findings : tuple of PrintFinding
        What matters most first.
    skipped : str
        Why it was not looked at, or not all of it; empty where it was.
    """

    findings: tuple[PrintFinding, ...]
    skipped: str = ""
