"""Defaults and limits that several rooms and the command line share."""

from __future__ import annotations

from typing import Final

NOZZLE_MM: Final = 0.6
"""Bore of the usual nozzle for metal-filled filament."""

CLOSED_FLOOR_LAYERS: Final = 3
"""Layers that a closed floor needs (common practice, no source)."""

THICK_MM: Final = 10.0
"""Thickest green section that is trusted to lose its binder (common practice, no source)."""

LARGEST_ROOM_MM: Final = 5000.0
"""Side of the largest bed or furnace that can be stated: those for such parts end near a metre
(common practice, no source), and what is beyond was given in another unit."""

SAG_UNKNOWNS: Final = 300_000
"""Largest number of unknowns of a sag solve: under a minute, and half a gigabyte."""

SAG_TOLERANCE_MM: Final = 0.02
"""Error that pre-curving may leave: what a hand caliper resolves."""

STATED_LENGTH_MM: Final = 40.0
"""Length for which an interval is stated when none is asked for: a usual size of a part."""

CREDIBLE_SHRINKAGE: Final = 0.40
"""A measured length that shrank by more is a slip: a fifth of its volume would be left."""

LARGEST_SHRINKAGE: Final = 0.50
"""No row and no factor may ask for more: the green part would be twice as large."""

USUAL_SAG_MODULI_KPA: Final = (20.0, 100_000.0)
"""Sag moduli of whole firings: softer parts slump, stiffer ones hardly sintered (judgement)."""
