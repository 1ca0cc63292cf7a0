"""Sag as JSON values: taken off, estimated, and the six ways up."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from shrinkrule.calibration import CalibrationRow
from shrinkrule.mesh import Part

if TYPE_CHECKING:
    from shrinkrule.job import SagLook, WayLook
    from shrinkrule.sag import PrecurveResult, SagSettings, WayUp


def sag_dict(sag: PrecurveResult, settings: SagSettings) -> dict[str, Any]:
    """Sag and its allowance as JSON values. Lengths mm, in the model's axes.

    Parameters
    ----------
    sag : PrecurveResult
        Sag before and after the allowance.
    settings : SagSettings
        How the part was held.

    Returns
    -------
    dict of str to any
        As in docs/file-formats.md.
    """
    before = sag.before
    return {
        "verdict": sag.verdict.value,
        "advice": list(sag.advice),
        "warnings": list(before.warnings),
        "furnace_up": list(settings.furnace_up),
        "friction": settings.friction.value,
        "base": settings.base.value,
        "supports": len(settings.supports),
        "largest_sag_mm": before.largest_sag_mm,
        "largest_at_mm": before.largest_at.tolist(),
        "sag_u_from_modulus_mm": before.modulus_mm,
        "sag_interval95_mm": None
        if before.interval95_mm is None or not np.all(np.isfinite(before.interval95_mm))
        else list(before.interval95_mm),
        "sag_u95_from_bricks_mm": before.numerical_mm,
        "remaining_mm": sag.remaining_mm,
        "unsure95_mm": sag.unsure_mm,
        "remaining_by_round_mm": list(sag.errors_mm),
        "rounds": sag.rounds,
        "lifted_mm": before.largest_lift_mm,
        "fallen_mm": before.drop_to_plate_mm,
        "gap_below": None
        if before.self_contact is None
        else {
            "height_mm": before.self_contact.gap_mm,
            "closes_mm": before.self_contact.closes_mm,
            "at_mm": before.self_contact.at.tolist(),
        },
        "bricks": before.bricks,
        "bricks_through_wall": before.bricks_through,
        "expected_wall_error_share": before.expected_error,
        "unknowns": before.unknowns,
        "iterations": before.iterations,
        "iteration_error": before.error,
        "settled": before.settled,
    }


def estimate_dict(look: SagLook) -> dict[str, Any] | None:
    """The quick estimate as JSON values; None where sag was taken off or is not known.

    Parameters
    ----------
    look : SagLook
        What is known of the sag.

    Returns
    -------
    dict or None
        As in docs/file-formats.md.
    """
    estimate = look.estimate
    if estimate is None:
        return None
    return {
        "sag_mm": estimate.sag_mm,
        "at_mm": estimate.at_mm.tolist(),
        "half95_mm": estimate.half95_mm,
        "u95_from_bricks_mm": estimate.numerical_mm,
        "u_from_modulus_mm": estimate.modulus_mm,
        "matters_over_mm": look.limit_mm,
        "known_well_enough": not look.unclear,
        "lost_because": estimate.lost or None,
        "nearly_lost": estimate.nearly_lost,
        "rolls": estimate.rolls,
        "settled": estimate.settled,
        "unknowns": estimate.unknowns,
        "ways": [way_dict(way) for way in look.ways],
    }


def way_dict(way: WayUp) -> dict[str, Any]:
    """One way up as JSON values."""
    return {
        "up": way.name,
        "stands": way.stands,
        "reason": way.reason,
        "sag_mm": way.sag_mm if way.stands else None,
        "sag_at_mm": way.sag_at.tolist() if way.stands else None,
        "sideways_mm": way.sideways_mm if way.stands else None,
        "height_mm": way.height_mm,
        "footprint_mm2": way.footprint_mm2,
    }


def ways_up_dict(
    part: Part,
    row: CalibrationRow,
    source: str,
    ways: tuple[WayLook, ...],
    files: dict[str, Path],
) -> dict[str, Any]:
    """Ranked ways up as JSON values.

    Parameters
    ----------
    part : Part
        As it was read.
    row : CalibrationRow
        Row whose sag modulus was used.
    source : str
        Where the row came from.
    ways : tuple of WayLook
        The best first.
    files : dict
        Path of each file that was written, by kind.

    Returns
    -------
    dict
        JSON values by name.
    """
    return {
        "schema": "shrinkrule.ways_up",
        "version": 1,
        "model": Path(part.source).name,
        "row": row.name,
        "row_source": source,
        "ways": [
            {
                **way_dict(look.way),
                "oversize_of_model": list(look.oversize),
                "unheld_print_mm2": look.unheld_mm2,
                "starts_in_air": look.starts,
                "fits_furnace": None if look.fit is None else look.fit.fits,
                "spare_mm": None if look.fit is None else look.fit.spare_mm,
            }
            for look in ways
        ],
        "files": {kind: path.name for kind, path in files.items()},
    }
