"""The six ways up for printing and firing together, since a part is usually fired as it is printed.

Each way is solved for its sag, and its green part is looked at for what printing it that way
needs. A way that leaves nothing to do in either comes first; then less sag, less that nothing
holds in the print, less height, a larger footprint.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from shrinkrule.calibration import AXES, CalibrationRow
from shrinkrule.compensation import GreenPart, ScaleFactors, green_part, way_up
from shrinkrule.errors import naming
from shrinkrule.furnace import Furnace, FurnaceFit, fit_in_furnace
from shrinkrule.job.room import hull_of
from shrinkrule.job.sag_look import SAG_MATTERS_MM
from shrinkrule.mesh import Part
from shrinkrule.numerics.progress import Progress, part_of, silent
from shrinkrule.printer import Printer
from shrinkrule.printing import PrintFinding, PrintKind, look_at_print

if TYPE_CHECKING:
    from shrinkrule.sag import SagSettings, WayUp


@dataclass(frozen=True)
class WayLook:
    """One way up, for firing and for printing.

    Parameters
    ----------
    way : WayUp
        What firing that way does.
    unheld_mm2 : float
        Area of green undersides that nothing holds when printed that way, or that begin in air.
    starts : int
        Places that would begin in the air.
    fit : FurnaceFit or None
        How the green part stands in the furnace, if one was stated.
    oversize : tuple of 3 float
        Factors of the model's X, Y and Z when printed that way: the axis that points up shrinks
        as Z does.
    green : GreenPart
        The part as it is printed then.
    found : tuple of PrintFinding
        What the undersides of such a print are like: those that nothing holds, and starts in air.
    """

    way: WayUp
    unheld_mm2: float
    starts: int
    fit: FurnaceFit | None
    oversize: tuple[float, float, float]
    green: GreenPart
    found: tuple[PrintFinding, ...]

    @property
    def fits(self) -> bool:
        """Whether it fits the furnace, as far as that is known."""
        return self.fit is None or self.fit.fits

    @property
    def to_do(self) -> int:
        """How many of printing and firing need something done about them."""
        return int(self.way.sag_mm > SAG_MATTERS_MM) + int(self.unheld_mm2 > 0.0 or self.starts > 0)


def weigh_ways(
    part: Part,
    row: CalibrationRow,
    printer: Printer,
    settings: SagSettings,
    furnace: Furnace | None = None,
    progress: Progress | None = None,
) -> tuple[WayLook, ...]:
    """Rank the six ways up for printing and firing together, the best first.

    Parameters
    ----------
    part : Part
        The wanted part.
    row : CalibrationRow
        Shrinkage and sag modulus.
    printer : Printer
        Bead and layer.
    settings : SagSettings
        Friction, budget and tolerance of the sag.
    furnace : Furnace or None
        What it must fit, if that is to be checked.
    progress : callable or None
        Called with the stage and the share done, 0 to 1.

    Returns
    -------
    tuple of WayLook
        All six; those that do not stand or do not fit come last.

    Raises
    ------
    MeshError
        If the mesh is no solid.
    SettingError
        If its sag does not fit the budget.
    TableError
        If the row has no sag modulus.
    """
    from shrinkrule.sag import rank_ways_up, sag_material

    report = part_of(progress or silent, 0.0, 0.9)
    part.require_extent()
    with naming(part.source.name):
        ways = rank_ways_up(part.mesh, sag_material(row), settings, progress=report)
    factors = ScaleFactors(*(row.along(axis).factor for axis in AXES))
    looks = [_look(part, way, factors, printer, furnace) for way in ways]
    step = settings.tolerance_mm
    return tuple(
        sorted(
            looks,
            key=lambda look: (
                not look.way.stands,
                not look.fits,
                look.to_do,
                round(look.way.sag_mm / step) if look.way.stands else 0,
                look.unheld_mm2,
                look.way.height_mm,
                -look.way.footprint_mm2,
            ),
        )
    )


def _look(
    part: Part, way: WayUp, factors: ScaleFactors, printer: Printer, furnace: Furnace | None
) -> WayLook:
    """One way up, printed as it is fired."""
    green = green_part(part.mesh, factors, way_up(way.name))
    found = look_at_print(green.mesh, printer).findings
    starts = [finding for finding in found if finding.kind is PrintKind.STARTS_IN_AIR]
    below = [finding for finding in found if finding.kind is PrintKind.UNHELD_UNDERSIDE]
    area = sum(finding.area_mm2 for finding in (*starts, *below))
    fit = (
        None
        if furnace is None
        else fit_in_furnace(hull_of(np.asarray(green.mesh.vertices)), furnace)
    )
    x, y, z = (float(factor) for factor in np.linalg.norm(green.from_model[:3, :3], axis=0))
    return WayLook(way, area, len(starts), fit, (x, y, z), green, (*starts, *below))
