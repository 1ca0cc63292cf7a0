"""What a printer can make, as limits for walls, floors, gaps and thick sections.

All defaults are common practice without a published source, so every one of them
is a setting: one bead for a wall to exist, two for it to be sound, three layers
for a floor, one bead for a gap to stay open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from shrinkrule.defaults import CLOSED_FLOOR_LAYERS, THICK_MM
from shrinkrule.errors import SettingError
from shrinkrule.printer import Printer

MARGIN_MM: Final = 0.002
"""A wall drawn exactly at its limit passes: 2 micrometres are beyond any printer."""


@dataclass(frozen=True)
class WallLimits:
    """Limits of the wall check, in beads, layers and mm of the GREEN part.

    Parameters
    ----------
    beads_to_exist : float
        A wall thinner than this many beads does not print.
    beads_to_be_sound : float
        A wall thinner than this many beads prints as a single bead.
    floor_layers : float
        A floor or roof thinner than this many layers is not closed.
    gap_beads : float
        A gap or hole narrower than this many beads fuses shut.
    thick_mm : float
        A section thicker than this holds its binder for long.
    pin_beads : float or None
        A pin thinner than this many beads does not print; as for a wall, if not given.
    """

    beads_to_exist: float = 1.0
    beads_to_be_sound: float = 2.0
    floor_layers: float = CLOSED_FLOOR_LAYERS
    gap_beads: float = 1.0
    thick_mm: float = THICK_MM
    pin_beads: float | None = None

    def __post_init__(self) -> None:
        for name, value in (
            ("beads to exist", self.beads_to_exist),
            ("beads to be sound", self.beads_to_be_sound),
            ("floor layers", self.floor_layers),
            ("gap beads", self.gap_beads),
            ("thick section", self.thick_mm),
            ("pin beads", self.beads_to_exist if self.pin_beads is None else self.pin_beads),
        ):
            if not 0.0 < value <= 1000.0:
                raise SettingError(f"{value:g} is no limit", where=name, hint="give a number > 0")
        if self.beads_to_be_sound < self.beads_to_exist:
            raise SettingError(
                "a sound wall cannot be thinner than one that just exists",
                where="beads to be sound",
                hint=f"give at least {self.beads_to_exist:g}",
            )

    def exist_mm(self, printer: Printer) -> float:
        """Thinnest upright wall that prints, mm."""
        return self.beads_to_exist * printer.bead_width_mm

    def pin_mm(self, printer: Printer) -> float:
        """Thinnest pin that prints, mm."""
        beads = self.beads_to_exist if self.pin_beads is None else self.pin_beads
        return beads * printer.bead_width_mm

    def sound_mm(self, printer: Printer) -> float:
        """Thinnest upright wall that prints sound, mm."""
        return self.beads_to_be_sound * printer.bead_width_mm

    def floor_mm(self, printer: Printer) -> float:
        """Thinnest floor that closes, mm."""
        return self.floor_layers * printer.layer_height_mm

    def gap_mm(self, printer: Printer) -> float:
        """Narrowest gap that stays open, mm."""
        return self.gap_beads * printer.bead_width_mm
