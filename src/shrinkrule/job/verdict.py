"""Make it or do not make it: the reasons, each with its weight."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shrinkrule.calibration import BalanceCheck
from shrinkrule.compensation import Prediction
from shrinkrule.furnace import CLEARANCE_MM, FurnaceFit
from shrinkrule.job.recipe import Recipe
from shrinkrule.job.result import (
    Level,
    Place,
    Reason,
    Verdict,
    WallLook,
    longer_than_coupon,
    place_words,
)
from shrinkrule.mesh import Part
from shrinkrule.walls import FindingKind, Weight

if TYPE_CHECKING:
    from shrinkrule.sag import PrecurveResult


def decide(
    part: Part,
    recipe: Recipe,
    balance: BalanceCheck | None,
    walls: WallLook,
    prediction: Prediction,
    fit: FurnaceFit | None,
    sag: PrecurveResult | None,
) -> Verdict:
    """Weigh all that was found: make the part, look first, or do not make it.

    Parameters
    ----------
    part, recipe : Part, Recipe
        What was read, and what the maker decided.
    balance : BalanceCheck or None
        Mass balance of the row.
    walls : WallLook
        The wall check.
    prediction : Prediction
        The fired part.
    fit : FurnaceFit or None
        How the green part stands in the furnace.
    sag : PrecurveResult or None
        The sag and its allowance.

    Returns
    -------
    Verdict
        Every reason, each with its weight.
    """
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
    if recipe.row is not None and recipe.row.extrapolated:
        reasons.append(Reason(Level.LOOK, f"shrinkage is {recipe.row.note}"))
    reasons += [Reason(Level.LOOK, text) for text in prediction.notes]
    return Verdict(tuple(reasons))


def _sag_reasons(sag: PrecurveResult) -> list[Reason]:
    """What the sag and its allowance leave to think about."""
    from shrinkrule.sag import Saving

    reasons = [Reason(Level.LOOK, f"sag: {text}") for text in sag.before.warnings]
    if not sag.advice:
        return reasons
    if sag.verdict is Saving.HOPELESS:
        why, *remedies = sag.advice
        text = f"sag: {why}; no allowance will save it: {', or '.join(remedies)}"
        return [Reason(Level.STOP, text), *reasons]
    return [*(Reason(Level.LOOK, f"sag: {text}") for text in sag.advice), *reasons]


def _wall_reasons(places: tuple[Place, ...]) -> list[Reason]:
    """One reason for each kind of finding, with its worst place."""
    reasons = []
    for kind in FindingKind:
        of_kind = [place for place in places if place.finding.kind is kind]
        if not of_kind or kind.weight is Weight.TELLS:
            continue
        worst = _worst(of_kind)
        finding = worst.finding
        count = f"{len(of_kind)} place{'s' * (len(of_kind) > 1)}"
        if kind is FindingKind.KNIFE_EDGE and finding.loss_mm is not None:
            said = f"loses up to {finding.loss_mm:.2f} mm of its depth in the print"
        else:
            compare = "over" if kind is FindingKind.THICK_SECTION else "under"
            said = f"{finding.smallest_mm:.2f} mm green, {compare} {finding.limit_mm:.2f} mm"
        reasons.append(
            Reason(
                Level.STOP if kind.weight is Weight.STOP else Level.LOOK,
                f"{kind.value}: {count}, worst {said}, at {place_words(worst.in_model)}"
                + _binder(worst),
            )
        )
    return reasons


def _worst(places: list[Place]) -> Place:
    """The place that matters most of one kind: the thinnest, the thickest, the deepest loss."""
    kind = places[0].finding.kind
    if kind is FindingKind.THICK_SECTION:
        return max(places, key=lambda place: place.finding.smallest_mm)
    if kind is FindingKind.KNIFE_EDGE:
        return max(places, key=lambda place: place.finding.loss_mm or 0.0)
    return min(places, key=lambda place: place.finding.smallest_mm)


def _binder(place: Place) -> str:
    """How much longer binder needs to leave a thick section, where that can be guessed."""
    if place.binder_time is None or place.binder_time <= 1.0:
        return ""
    return f"; {longer_than_coupon(place.binder_time)}"
