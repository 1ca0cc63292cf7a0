"""The wall check of a green part, given back in terms of the model that the maker will edit."""

from __future__ import annotations

import numpy as np

from shrinkrule.compensation import GreenPart
from shrinkrule.errors import naming
from shrinkrule.job.result import Place, WallLook, binder_time, place_words
from shrinkrule.mesh import Part
from shrinkrule.numerics.progress import Progress
from shrinkrule.printer import Printer
from shrinkrule.walls import Finding, FindingKind, WallLimits, check_walls


def look_at_walls(
    part: Part,
    green: GreenPart,
    printer: Printer,
    limits: WallLimits,
    progress: Progress | None = None,
    *,
    coupon_section_mm: float | None = None,
) -> WallLook:
    """Check what the nozzle can print of a green part, in terms of the wanted model.

    Parameters
    ----------
    part : Part
        As it was read.
    green : GreenPart
        The same, scaled and stood on the bed.
    printer, limits : Printer, WallLimits
        What can be printed, and what is asked for.
    progress : callable, optional
        Called with a stage's name and the fraction done.
    coupon_section_mm : float, optional
        Thickest section of the green coupon, to compare the part's with.

    Returns
    -------
    WallLook
        Its findings, in the model's terms.

    Raises
    ------
    ShrinkruleError
        For settings or a mesh that cannot be worked with.
    """
    part.require_extent()
    with naming(part.source.name):
        report = check_walls(
            green.mesh,
            printer,
            limits,
            soundness=part.soundness,
            progress=progress,
            place_text=lambda place: place_words(green.in_model(np.array([place]))[0]),
        )
    places = tuple(_place(finding, green, coupon_section_mm) for finding in report.findings)
    return WallLook(part, green, printer, limits, report, places, coupon_section_mm)


def _place(finding: Finding, green: GreenPart, coupon_section_mm: float | None) -> Place:
    in_model = green.in_model(np.array([finding.position]))[0]
    scale = green.factors.per_axis
    # Up is one of the model's axes, so that a box in the print is a box in the model.
    corners = green.in_model(np.array(finding.box))
    return Place(
        finding,
        in_model,
        np.stack([corners.min(axis=0), corners.max(axis=0)]),
        finding.wanted_mm(finding.smallest_mm, scale),
        finding.wanted_mm(finding.limit_mm, scale),
        None if finding.sound_mm is None else finding.wanted_mm(finding.sound_mm, scale),
        binder_time(finding.smallest_mm, coupon_section_mm)
        if finding.kind is FindingKind.THICK_SECTION
        else None,
    )
