"""The fit's HTML report: what the next part will measure first, then why that is so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

from shrinkrule.calibration import (
    AXES,
    Axis,
    AxisResult,
    CalibrationRow,
    FitResult,
    NoteWeight,
    plain_sentences,
)
from shrinkrule.calibration.fit.balance import Comparison
from shrinkrule.cautions import CAUTIONS
from shrinkrule.files.templates import environment
from shrinkrule.physics.estimate import Estimate, Estimates
from shrinkrule.report.fit.plain import LENGTHS_MM
from shrinkrule.report.fit.plots import fit_plots
from shrinkrule.report.foundation import program
from shrinkrule.units import rounded_up

HEADLINES: Final = {
    NoteWeight.FACT: "Use this row.",
    NoteWeight.LOOK: "Use this row, but look at these first.",
    NoteWeight.WRONG: "Something is wrong: put it right before you use this row.",
}
CLASSES: Final = {NoteWeight.FACT: "make", NoteWeight.LOOK: "look", NoteWeight.WRONG: "stop"}


def gravest(fit: FitResult) -> NoteWeight:
    """Weight of the gravest note."""
    order = (NoteWeight.WRONG, NoteWeight.LOOK)
    weights = {note.weight for note in fit.notes}
    return next((weight for weight in order if weight in weights), NoteWeight.FACT)


def fit_html(fit: FitResult, row: CalibrationRow, files: dict[str, Path]) -> str:
    """HTML report of a fit, with its plots inside.

    Parameters
    ----------
    fit : FitResult
        What to report.
    row : CalibrationRow
        Its row.
    files : dict of str to Path
        Files written beside the report, by kind.

    Returns
    -------
    str
        One page without links to other files.
    """
    level = gravest(fit)
    axes = (fit.x, fit.y, fit.xy, fit.z)
    return (
        environment("shrinkrule.report")
        .get_template("fit.html.j2")
        .render(
            fit=fit,
            row=row,
            files={kind: path.name for kind, path in files.items()},
            headline=HEADLINES[level],
            level_class=CLASSES[level],
            sentences=plain_sentences(fit),
            reasons=[
                (CLASSES[n.weight], n.weight.value, n.text)
                for n in fit.notes
                if n.weight is not NoteWeight.FACT
            ],
            facts=[n.text for n in fit.notes if n.weight is NoteWeight.FACT],
            axes=[_axis(fit, axis) for axis in axes],
            lengths=[f"{length:g}" for length in LENGTHS_MM],
            next_parts=[_next_parts(row, axis) for axis in AXES],
            agree=[(where, one) for where, one in _comparisons(fit) if one.good],
            disagree=[(where, one) for where, one in _comparisons(fit) if not one.good],
            beams=_beams(fit),
            reach=_reach(row),
            plots=fit_plots(fit),
            at_least="" if fit.knows_firings else "at least ",
            cautions=CAUTIONS,
            program=program(),
        )
    )


def _comparisons(fit: FitResult) -> list[tuple[str, Comparison]]:
    """What the weights of each sheet say, with the sheet's name."""
    return [
        (sheet.where, comparison)
        for sheet, balance in zip(fit.sheets, fit.balances, strict=True)
        for comparison in balance.comparisons
    ]


def _longest_mm(row: CalibrationRow, axis: Axis) -> float:
    """Longest fired length that the coupons had along an axis, mm."""
    return row.along(axis).fired_mm(row.longest_z_mm if axis == "z" else row.longest_xy_mm)


def _reach(row: CalibrationRow) -> str:
    """How far the coupons reach along X and Y, and along Z."""
    return f"{_longest_mm(row, 'x'):.0f} mm along X and Y, {_longest_mm(row, 'z'):.0f} mm along Z"


def _half(estimate: Estimate | Estimates, digits: int) -> str:
    """Half width (95 %) of a value."""
    half = float(estimate.half_width())
    return f"{float(estimate.value):.{digits}f} ± {rounded_up(half, digits)}"


def _axis(fit: FitResult, axis: AxisResult) -> dict[str, str]:
    at = axis.fit.centre_mm
    scatter = axis.fit.scatter_at(at)
    dof = float(axis.scatter.mean_dof or axis.fit.residual_dof)
    within = f"{100 * float(scatter.part_variance) ** 0.5 / at:.2f}"
    between = f"{100 * float(scatter.firing_variance) ** 0.5 / at:.2f}"
    return {
        "name": axis.name,
        "shrinkage": _half(replace(axis.shrinkage.times(100.0), dof=dof), 2),
        "oversize": f"{1.0 / (1.0 - axis.shrinkage.value):.5f}",
        "within": within if fit.coupons > len(fit.firings) else "not known",
        "between": between if fit.knows_firings else "not known",
        "intercept": _half(axis.fit.intercept, 3)
        + (" kept" if bool(axis.fit.has_intercept) else ""),
        "residual": f"{float(axis.fit.residual_variance) ** 0.5:.3f}",
    }


def _next_parts(row: CalibrationRow, axis: Axis) -> tuple[str, list[str]]:
    """Half widths of the listed lengths; a star marks those that no coupon reached."""
    halves = [row.promise(axis, length).half95 for length in LENGTHS_MM]
    longest = _longest_mm(row, axis)
    return axis.upper(), [
        "not known" if half is None else f"± {rounded_up(half)}{'' if length <= longest else ' *'}"
        for half, length in zip(halves, LENGTHS_MM, strict=True)
    ]


def _beams(fit: FitResult) -> list[dict[str, str]]:
    if fit.sag is None:
        return []
    return [
        {
            "coupon": fit.sheets[beam.coupon].settings.coupon,
            "id": beam.id,
            "support": beam.support.value,
            "span": f"{beam.span_mm:.1f}",
            "depth": f"{beam.depth_mm:.2f}",
            "drop": f"{beam.drop_mm:.2f}" if beam.drop_mm else "",
            "modulus": f"{beam.modulus_kpa:.0f}" if beam.drop_mm > 0.0 else "",
            "refused": beam.refused,
        }
        for beam in fit.sag.beams
    ]
