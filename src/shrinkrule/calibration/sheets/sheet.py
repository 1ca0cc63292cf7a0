"""A measured sheet: one coupon in one firing, its head and its readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from shrinkrule.sheet import Kind

LENGTH_KINDS: Final = frozenset({Kind.OUTSIDE, Kind.INSIDE, Kind.BORE, Kind.STEP})


BEAM_KINDS: Final = frozenset({Kind.BRIDGE, Kind.CANTILEVER})


MASS_KINDS: Final = frozenset({Kind.MASS, Kind.MASS_IN_WATER})


@dataclass(frozen=True)
class Reading:
    """One measured line of a sheet, in mm or g.

    Parameters
    ----------
    line : int
        Its line in the file, from 1.
    id, feature : str
        Mark on the drawing, and what it is.
    kind : Kind
        What sort of line it is.
    axis : str
        ``x``, ``y``, ``z`` or empty.
    nominal, thickness : float or None
        Of the printed model.
    green, fired : tuple of float
        Repeated readings; empty where not measured.
    debound : float or None
        Reading between debinding and sintering.
    remark : str
        What was written instead of a number, on beams only: ``broken``, as a rule.
    unit_stated : bool
        Whether the maker wrote a unit other than the sheet's own, so that none is guessed.
    where : str
        Its file, where that is not the sheet's.
    sag_mm : float or None
        What the sag is estimated to add to the fired length; on a load's sheet.
    """

    line: int
    id: str
    feature: str
    kind: Kind
    axis: str
    nominal: float | None
    thickness: float | None
    green: tuple[float, ...]
    debound: float | None
    fired: tuple[float, ...]
    remark: str = ""
    unit_stated: bool = False
    where: str = ""
    sag_mm: float | None = None

    @property
    def is_length(self) -> bool:
        """Whether green and fired are both there, of a length that shows shrinkage."""
        return self.kind in LENGTH_KINDS and bool(self.green) and bool(self.fired)


@dataclass(frozen=True)
class SheetSettings:
    """The head of a sheet: names, densities (g/cm3), last steps (mm, mm, g)."""

    coupon: str
    firing: str
    date: str
    material: str
    process: str
    metal_density: float | None
    binder_density: float | None
    metal_mass_share: float | None
    caliper_resolution: float
    gauge_resolution: float
    balance_resolution: float
    water_density: float | None
    nozzle: float | None
    bead_width: float | None
    layer_height: float | None
    weighed_volume: float | None
    weighed_surface: float | None
    thickest_section: float | None
    first_layer: float | None = None
    row: str = ""
    """Row of the table that a load's parts were made by."""


@dataclass(frozen=True)
class PartLine:
    """One part of a load, as the traveler wrote it.

    Parameters
    ----------
    letter : str
        What the marks of its lines begin with.
    name : str
        Its name.
    volume_mm3 : float or None
        Volume of the printed model.
    green_sha256 : str
        Checksum of its green file, empty where it was deleted.
    """

    letter: str
    name: str
    volume_mm3: float | None
    green_sha256: str


@dataclass(frozen=True)
class Sheet:
    """One coupon in one firing, as it was measured.

    Parameters
    ----------
    where : str
        File name, for messages.
    settings : SheetSettings
        Its head.
    readings : tuple of Reading
        Its lines, in order.
    notes : tuple of str
        What was corrected while reading.
    beam_firing : str
        Firing of the bars, where that is not the block's.
    parts : tuple of PartLine
        Parts of a load; none on a coupon's sheet.
    """

    where: str
    settings: SheetSettings
    readings: tuple[Reading, ...]
    notes: tuple[str, ...]
    beam_firing: str = ""
    parts: tuple[PartLine, ...] = ()

    def of_kind(self, *kinds: Kind) -> tuple[Reading, ...]:
        """Lines of these kinds."""
        return tuple(reading for reading in self.readings if reading.kind in kinds)
