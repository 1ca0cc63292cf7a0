"""Notes on a fit, in sentences: what to trust, what to look at, what must be wrong."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from shrinkrule.calibration.fit.axis import DIFFERENCE_CONFIDENCE
from shrinkrule.calibration.fit.printing import PrintingFit
from shrinkrule.calibration.fit.result import AxisResult, FitResult, Note, NoteWeight
from shrinkrule.calibration.statistics.regression import fit_line
from shrinkrule.defaults import USUAL_SAG_MODULI_KPA
from shrinkrule.physics.estimate import t_quantile
from shrinkrule.units import rounded_up

FEWEST_TO_JUDGE: Final = 4
"""Coupons needed to judge one of them by the others."""

FEWEST_FOR_TREND: Final = 8
"""Residuals needed to judge whether their size grows with length."""

FEW_FIRINGS: Final = 4
"""Firings up to which what is usual weighs noticeably in the scatter between them."""

CHANCE: Final = 0.01
"""Chance of a remark on something that has no cause."""


def fit_notes(result: FitResult) -> tuple[Note, ...]:
    """Sentences about a fit, gravest first.

    Parameters
    ----------
    result : FitResult
        The fit.

    Returns
    -------
    tuple of Note
        The notes.
    """
    notes = [
        *_reading(result),
        *_firings(result),
        *_axes(result),
        *_outliers(result),
        *_printing(result),
        *_weights(result),
        *_sag(result),
    ]
    order = (NoteWeight.WRONG, NoteWeight.LOOK, NoteWeight.FACT)
    return tuple(sorted(notes, key=lambda note: order.index(note.weight)))


def _reading(result: FitResult) -> Iterator[Note]:
    """Notes of the sheets, what was left out, and the caliper."""
    for sheet in result.sheets:
        for note in sheet.notes:
            yield Note(NoteWeight.LOOK, f"{sheet.where}: {note}")
    if result.left_out:
        yield Note(NoteWeight.LOOK, f"left out as asked: {', '.join(result.left_out)}")
    caliper = result.caliper
    if caliper.repeats_sd_mm is None:
        yield Note(
            NoteWeight.FACT,
            "no length was read twice: the caliper is taken at its last step, "
            f"{caliper.variance**0.5:.4f} mm as a standard uncertainty",
        )
    else:
        yield Note(
            NoteWeight.FACT,
            f"repeats of one length scatter by {caliper.repeats_sd_mm:.4f} mm "
            f"({caliper.repeats_dof} degrees of freedom)",
        )


def _firings(result: FitResult) -> Iterator[Note]:
    """How many firings there are, and coupons unlike the others."""
    if not result.knows_firings:
        yield Note(
            NoteWeight.LOOK,
            "all coupons are of one firing, which does not show how firings differ: no interval "
            "can be given for the next part; fire another coupon in another firing",
        )
    elif len(result.firings) == 2:
        yield Note(
            NoteWeight.LOOK,
            "two firings know little about the next: a third coupon in a third firing narrows the "
            "intervals",
        )
    if 1 < len(result.firings) <= FEW_FIRINGS:
        yield Note(
            NoteWeight.FACT,
            f"{len(result.firings)} firings alone cannot show how firings differ: the axes are "
            "judged together, and what sintered parts usually keep (0.3 %) weighs in; further "
            "firings take over from it",
        )
    for name, drift in result.drifts.items():
        step = drift.per_firing
        yield Note(
            NoteWeight.LOOK,
            f"{name} shrinks by {100 * step.value:+.2f} ± {rounded_up(100 * step.half_width())} "
            f"points (95 %) from each firing to the next, over {drift.firings} firings: the "
            "furnace, its thermocouple or the spool drifts; the row is the firings' mean, and the "
            "next one may lie beyond it",
        )
    if result.coupons < FEWEST_TO_JUDGE:
        return
    for axis in (result.xy, result.z):
        values = axis.shrinkage_by_coupon
        for number, sheet in enumerate(result.sheets):
            others = np.delete(values, number)
            spread = float(others.std(ddof=1)) * (1.0 + 1.0 / others.size) ** 0.5
            off = float(values[number] - others.mean())
            if spread > 0.0 and abs(off) > spread * t_quantile(
                others.size - 1, 1.0 - CHANCE / result.coupons
            ):
                yield Note(
                    NoteWeight.LOOK,
                    f"coupon {sheet.settings.coupon} ({sheet.where}) shrank by {100 * off:+.2f} "
                    f"points in {axis.name} from the others, {abs(off) / spread:.1f} sigmas",
                )


def _axes(result: FitResult) -> Iterator[Note]:
    """Whether X and Y differ, and the shape of each line."""
    difference = result.xy_difference
    x, y = result.x.shrinkage.value, result.y.shrinkage.value
    said = (
        f"X shrinks by {100 * x:.2f} %, Y by {100 * y:.2f} %, "
        f"{100 * abs(float(difference.value)):.2f} ± "
        f"{100 * float(difference.half_width(DIFFERENCE_CONFIDENCE)):.2f} points apart (99 %)"
    )
    if result.axes_differ:
        yield Note(
            NoteWeight.LOOK,
            f"{said}: they differ, so a part must lie on the bed as it was scaled",
        )
    else:
        yield Note(
            NoteWeight.FACT,
            f"{said}: no difference is shown; each is scaled by its own all the same",
        )
    for axis in (result.xy, result.z):
        yield from _shape(axis)
    growing = [axis.name for axis in (result.x, result.y, result.z) if _scatter_grows(axis)]
    if growing:
        yield Note(
            NoteWeight.LOOK,
            f"in {' and '.join(growing)} long lengths stray more from the line than short ones: "
            "intervals are too wide for short lengths and too narrow for long ones",
        )


def _shape(axis: AxisResult) -> Iterator[Note]:
    """Whether a line meets the origin."""
    intercept = axis.fit.intercept
    said = f"{float(intercept.value):+.3f} ± {float(intercept.half_width()):.3f} mm (95 %)"
    if bool(axis.fit.has_intercept):
        grows = "more" if float(intercept.value) > 0.0 else "less"
        yield Note(
            NoteWeight.LOOK,
            f"the line of {axis.name} misses the origin by {said}: long parts shrink {grows} than "
            f"short ones; the shrinkage stated is that of {axis.fit.centre_mm:.0f} mm green",
        )
    else:
        yield Note(
            NoteWeight.FACT, f"the line of {axis.name} meets the origin: its intercept is {said}"
        )


def _scatter_grows(axis: AxisResult) -> bool:
    """Whether long lengths stray more from their own axis's lines than short ones.

    A coupon's X and Y shrink a little apart, so about a line of both long lengths stray always.

    Source: H. Glejser, *J. Am. Stat. Assoc.* 64 (1969) 316: the residuals' size against length.
    """
    measured = np.isfinite(axis.residuals_mm)
    if np.count_nonzero(measured) < FEWEST_FOR_TREND:
        return False
    trend = fit_line(axis.lengths.green[measured], np.abs(axis.residuals_mm[measured]))
    return bool(trend.slope > t_quantile(trend.dof, 1.0 - CHANCE) * trend.slope_u)


def _outliers(result: FitResult) -> Iterator[Note]:
    """Readings far from their line."""
    for outlier in result.outliers:
        yield Note(
            NoteWeight.LOOK,
            f"{outlier}; it is in the fit: measure it again, or leave it out by name",
        )
    if (said := result.slips_not_told) is not None:
        yield Note(NoteWeight.LOOK if result.slips_weigh else NoteWeight.FACT, said)
    if (uneven := result.uneven) is not None:
        yield Note(NoteWeight.LOOK, uneven)


def _printing(result: FitResult) -> Iterator[Note]:
    """Bead spread, the printer's scale, and the ladders."""
    printing = result.printing
    bead = printing.bead
    yield Note(
        NoteWeight.FACT,
        f"upright surfaces print {bead.value:+.3f} ± {rounded_up(bead.half_width(), 3)} mm "
        "(95 %) outside the model",
    )
    for name, scale in zip("XYZ", printing.scales, strict=True):
        shown = scale.is_significant(DIFFERENCE_CONFIDENCE)
        yield Note(
            NoteWeight.LOOK if shown else NoteWeight.FACT,
            f"beyond that, green lengths along {name} are {100 * scale.value:+.2f} ± "
            f"{rounded_up(100 * scale.half_width())} % off the model"
            + (
                ": green parts are made for this printer as it is; if you correct it, say so when "
                "you compensate"
                if shown
                else ""
            ),
        )
    yield from _offsets(printing)
    yield from _zero(result)
    for name, ladder in (("wall", result.walls), ("floor", result.floors)):
        if ladder is not None and ladder.thinnest_mm is not None:
            yield Note(
                NoteWeight.FACT,
                f"the thinnest {name} that came out on every coupon, with all thicker ones, is "
                f"{ladder.thinnest_mm:.2f} mm in the model"
                + ("" if ladder.missing_mm is None else f"; {ladder.missing_mm:.2f} mm did not"),
            )


def _offsets(printing: PrintingFit) -> Iterator[Note]:
    """First layer and round holes: said where the data show them."""
    first, bore = printing.first_layer, printing.bore
    if first is not None:
        shown = first.is_significant(DIFFERENCE_CONFIDENCE)
        yield Note(
            NoteWeight.LOOK if shown else NoteWeight.FACT,
            f"heights from the plate are {first.value:+.3f} ± {rounded_up(first.half_width(), 3)} "
            "mm (95 %) off their layers: the first layer does that"
            + ("; each predicted height holds it" if shown else ", if it is there at all"),
        )
    if bore is not None:
        yield Note(
            NoteWeight.FACT,
            f"round holes{_of_mm(printing)} print {bore.value:+.3f} ± "
            f"{rounded_up(bore.half_width(), 3)} mm (95 %) off what slots do"
            if bore.is_significant()
            else "round holes show no offset of their own beside slots",
        )
    curve = printing.bore_curve
    if curve is not None and curve.is_significant(DIFFERENCE_CONFIDENCE):
        yield Note(
            NoteWeight.FACT,
            f"small round holes print {'tighter' if curve.value < 0.0 else 'wider'} than large "
            "ones: each bore is predicted by its own diameter",
        )


def _of_mm(printing: PrintingFit) -> str:
    """Diameter that the offset of bores is stated for, where there are several."""
    return "" if printing.bore_curve is None else f" of {printing.bore_at_mm:.1f} mm"


def _zero(result: FitResult) -> Iterator[Note]:
    """The caliper's zero: taken off, different green and fired, or one of two causes."""
    printing, taken = result.printing, result.zero_taken_off
    zero = printing.zero
    if taken is not None:
        yield Note(
            NoteWeight.LOOK,
            f"every length, green and fired, reads {taken.value:+.3f} ± "
            f"{rounded_up(taken.half_width(), 3)} mm (95 %) more than it is, slots and steps as "
            "well as outside lengths: the caliper's zero; it is taken off all of them",
        )
    elif zero is not None and zero.is_significant(DIFFERENCE_CONFIDENCE):
        yield Note(
            NoteWeight.LOOK,
            f"every green length reads {zero.value:+.3f} ± {rounded_up(zero.half_width(), 3)} mm "
            "(95 %) more than its model, the fired ones do not: check the caliper's zero",
        )
    if zero is None and printing.bead.is_significant():
        yield Note(
            NoteWeight.LOOK,
            f"the spread of {printing.bead.value:+.3f} mm a surface may be the bead's, or the "
            f"caliper's zero may be {2.0 * printing.bead.value:+.3f} mm off: these readings cannot "
            "tell which; measure the slots and steps too",
        )
    if result.axes_or_zero:
        axes = " and ".join(result.axes_or_zero)
        yield Note(
            NoteWeight.LOOK,
            f"green lengths along {axes} are off the model, or the caliper's zero is: these "
            "readings cannot tell which; close the caliper and read it, or measure more steps",
        )


def _weights(result: FitResult) -> Iterator[Note]:
    """Weights that do not agree with lengths or with each other."""
    for sheet, balance in zip(result.sheets, result.balances, strict=True):
        for comparison in balance.comparisons:
            if not comparison.good:
                yield Note(
                    NoteWeight.WRONG,
                    f"{sheet.where}: {comparison.text} ({abs(comparison.sigmas):.1f} sigmas)",
                )
    if result.relative_density is None:
        yield Note(
            NoteWeight.LOOK, "without weights and the metal's density there is no mass balance"
        )


def _sag(result: FitResult) -> Iterator[Note]:
    """Beams that were refused, and whether drops follow the beam formula."""
    if result.sag is None:
        yield Note(NoteWeight.FACT, "no beam could be used, so there is no sag modulus")
        return
    low, high = USUAL_SAG_MODULI_KPA
    if not low <= result.sag.modulus_kpa <= high:
        yield Note(
            NoteWeight.LOOK,
            f"a sag modulus of {result.sag.modulus_kpa:.3g} kPa is beyond any usual one ({low:g} "
            f"to {high:g} kPa): check the drops and their unit",
        )
    for beam in result.sag.beams:
        coupon = result.sheets[beam.coupon].settings.coupon
        if beam.refused:
            yield Note(
                NoteWeight.LOOK, f"beam {beam.id} of coupon {coupon} is refused: {beam.refused}"
            )
        elif beam.too_far:
            yield Note(
                NoteWeight.LOOK,
                f"beam {beam.id} of coupon {coupon} dropped more than {beam.too_far}, which no "
                "small-drop formula covers: choose shorter spans",
            )
    for name, power in (
        ("span", result.sag.span_power),
        ("depth", result.sag.depth_power),
    ):
        if power is None:
            continue
        said = (
            f"drops go with the {name} to the power {power.fitted:.2f} ± "
            f"{float(t_quantile(power.dof)) * power.u:.2f} (95 %), a beam's with {power.theory:g}"
        )
        if power.agrees:
            yield Note(NoteWeight.FACT, said)
        else:
            yield Note(
                NoteWeight.LOOK,
                f"{said}: these do not sag as beams under their own weight; the modulus is a guess",
            )
