"""The fit's HTML report: what the next part will measure first, then why that is so."""

from __future__ import annotations

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
from shrinkrule.cautions import CAUTIONS
from shrinkrule.files.templates import environment
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
            comparisons=[
                (sheet.where, comparison)
                for sheet, balance in zip(fit.sheets, fit.balances, strict=True)
                for comparison in balance.comparisons
            ],
            beams=_beams(fit),
            plots=fit_plots(fit),
            at_least="" if fit.knows_firings else "at least ",
            cautions=CAUTIONS,
            program=program(),
        )
    )


def _axis(fit: FitResult, axis: AxisResult) -> dict[str, str]:
    at = axis.fit.centre_mm
    scatter = axis.fit.scatter_at(at)
    within = f"{100 * float(scatter.part_variance) ** 0.5 / at:.2f}"
    between = f"{100 * float(scatter.firing_variance) ** 0.5 / at:.2f}"
    return {
        "name": axis.name,
        "shrinkage": f"{100 * axis.shrinkage.value:.2f} ± {100 * axis.shrinkage.u:.2f}",
        "oversize": f"{1.0 / (1.0 - axis.shrinkage.value):.5f}",
        "within": within if fit.coupons > len(fit.firings) else "not known",
        "between": between if fit.knows_firings else "not known",
        "intercept": f"{float(axis.fit.intercept.value):+.3f} ± {float(axis.fit.intercept.u):.3f}"
        + (" kept" if bool(axis.fit.has_intercept) else ""),
        "residual": f"{float(axis.fit.residual_variance) ** 0.5:.3f}",
    }


def _next_parts(row: CalibrationRow, axis: Axis) -> tuple[str, list[str]]:
    halves = [row.promise(axis, length).half95 for length in LENGTHS_MM]
    return axis.upper(), ["not known" if h is None else f"± {rounded_up(h)}" for h in halves]


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
