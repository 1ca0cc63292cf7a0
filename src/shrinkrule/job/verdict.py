"""Make it or do not make it: the reasons, each with its weight."""

from __future__ import annotations

from shrinkrule.calibration import EXTRAPOLATED, BalanceCheck
from shrinkrule.compensation import Prediction
from shrinkrule.furnace import CLEARANCE_MM, FurnaceFit
from shrinkrule.job.recipe import Recipe
from shrinkrule.job.result import (
    TOO_THIN,
    Level,
    Place,
    Reason,
    Verdict,
    WallLook,
    longer_than_coupon,
)
from shrinkrule.mesh import Part
from shrinkrule.sag import PrecurveResult, Saving
from shrinkrule.walls import FindingKind


def decide(
    part: Part,
    recipe: Recipe,
    balance: BalanceCheck | None,
    walls: WallLook,
    prediction: Prediction,
    fit: FurnaceFit | None,
    sag: PrecurveResult | None,
) -> Verdict:
    """Weigh all that was found: make the part, look first, or do not make it."""
    reasons: list[Reason] = []
    if not part.trusted:
        reasons.append(
            Reason(Level.STOP, "the surface is not a sound solid: only its scale can be trusted")
        )
    reasons += [Reason(Level.LOOK, text) for text in part.warnings]
    if fit is not None and not fit.fits:
        reasons.append(
            Reason(
                Level.STOP,
                f"the green part is {-fit.spare_mm:.1f} mm too large for the {recipe.furnace} "
                f"({fit.tight}), with {CLEARANCE_MM:g} mm kept clear all round",
            )
        )
    reasons += _wall_reasons(walls.places)
    reasons += [] if sag is None else _sag_reasons(sag)
    reasons += [Reason(Level.LOOK, text) for text in walls.report.notes]
    if balance is not None and balance.warning:
        reasons.append(Reason(Level.LOOK, balance.warning))
    if recipe.row is not None and EXTRAPOLATED in recipe.row.note:
        reasons.append(Reason(Level.LOOK, f"shrinkage is {recipe.row.note}"))
    reasons += [Reason(Level.LOOK, text) for text in prediction.notes]
    return Verdict(tuple(reasons))


def _sag_reasons(sag: PrecurveResult) -> list[Reason]:
    """What the sag and its allowance leave to think about."""
    reasons = [Reason(Level.LOOK, f"sag: {text}") for text in sag.before.warnings]
    if not sag.advice:
        return reasons
    if sag.verdict is Saving.HOPELESS:
        why, *ways = sag.advice
        text = f"sag: {why}; no allowance will save it: {', or '.join(ways)}"
        return [Reason(Level.STOP, text), *reasons]
    return [*(Reason(Level.LOOK, f"sag: {text}") for text in sag.advice), *reasons]


def _wall_reasons(places: tuple[Place, ...]) -> list[Reason]:
    """One reason for each kind of finding, told by its worst place."""
    reasons = []
    for kind in FindingKind:
        of_kind = [place for place in places if place.finding.kind is kind]
        if not of_kind:
            continue
        too_much = kind is FindingKind.THICK_SECTION
        # Places come with the largest first; the worst is the thinnest, or the thickest.
        worst = (max if too_much else min)(of_kind, key=lambda place: place.finding.smallest_mm)
        count = f"{len(of_kind)} place{'s' * (len(of_kind) > 1)}"
        x, y, z = worst.in_model
        compare = "over" if too_much else "under"
        reasons.append(
            Reason(
                Level.STOP if kind in TOO_THIN else Level.LOOK,
                f"{kind.value}: {count}, worst {worst.finding.smallest_mm:.2f} mm green, {compare} "
                f"{worst.finding.limit_mm:.2f} mm, at x {x:z.1f}, y {y:z.1f}, z {z:z.1f} of the "
                "model" + _binder(worst),
            )
        )
    return reasons


def _binder(place: Place) -> str:
    """How much longer binder needs to leave a thick section, where that can be guessed."""
    if place.binder_time is None or place.binder_time <= 1.0:
        return ""
    return f"; {longer_than_coupon(place.binder_time)}"
