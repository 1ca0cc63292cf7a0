"""Make it or do not make it: every check that can be made of a part, and what each says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from shrinkrule.calibration import BalanceCheck
from shrinkrule.compensation import Prediction
from shrinkrule.furnace import CLEARANCE_MM, FurnaceFit
from shrinkrule.job.checks import Check, Reason, State, Verdict
from shrinkrule.job.printing_checks import bed_check, print_checks, print_reasons, size_check
from shrinkrule.job.recipe import Recipe
from shrinkrule.job.result import Place, WallLook, WrittenLook, longer_than_coupon, place_words
from shrinkrule.job.sag_look import SagLook
from shrinkrule.mesh import Part
from shrinkrule.printing import PrintLook
from shrinkrule.units import rounded_up, small_mm
from shrinkrule.walls import FindingKind, Weight

if TYPE_CHECKING:
    from shrinkrule.sag import SagEstimate


def decide(
    part: Part,
    recipe: Recipe,
    balance: BalanceCheck | None,
    walls: WallLook,
    printing: PrintLook | None,
    prediction: Prediction,
    fit: FurnaceFit | None,
    sag: SagLook,
    written: WrittenLook | None = None,
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
    printing : PrintLook or None
        What prints badly; None for a surface that is no sound solid.
    prediction : Prediction
        The fired part.
    fit : FurnaceFit or None
        How the green part stands in the furnace.
    sag : SagLook
        What is known of the sag.
    written : WrittenLook or None
        What the mesh to write shows beyond the straight part; None where it is the straight part.

    Returns
    -------
    Verdict
        Every check, each with what it says.
    """
    return Verdict(
        (
            _surface(part),
            size_check(recipe, walls.green, prediction),
            bed_check(recipe, walls.green),
            _walls(walls),
            *print_checks(printing, walls.green, part.why_not_trusted),
            *_written(written, walls),
            _binder(walls),
            _sag(sag),
            _furnace(recipe, fit),
            _shrinkage(recipe, prediction),
            _metal(recipe, balance),
        )
    )


def _looks(texts: tuple[str, ...]) -> tuple[Reason, ...]:
    """Texts that each weigh a look."""
    return tuple(Reason(State.LOOK, text) for text in texts)


def _surface(part: Part) -> Check:
    """Whether the model is a solid of a credible size."""
    stops: tuple[Reason, ...] = ()
    if not part.soundness.closed:
        stops = (
            Reason(State.STOP, "the surface is not a sound solid: only its scale can be trusted"),
        )
    elif part.overlaps:
        stops = (
            Reason(
                State.LOOK,
                "bodies that share space were kept: sizes and layers hold; volume, mass, sag and "
                "the balls in walls do not",
                part.overlaps[0].at_mm,
            ),
        )
    return Check("model", (*stops, *_looks(part.warnings)))


def _walls(look: WallLook) -> Check:
    """Whether the nozzle makes every wall, floor and gap."""
    kinds = [kind for kind in FindingKind if kind is not FindingKind.THICK_SECTION]
    reasons = (*_of_kinds(look.places, kinds), *_looks(look.report.notes))
    if look.report.measured_fraction == 0.0:
        return Check("walls", reasons, "no wall could be measured", "walls are not known")
    return Check("walls", reasons)


def _written(look: WrittenLook | None, straight: WallLook) -> tuple[Check, ...]:
    """What pre-curving or moving the outlines did to walls and undersides."""
    if look is None:
        return ()
    kinds = [kind for kind in FindingKind if kind is not FindingKind.THICK_SECTION]
    found = (
        *_of_kinds(look.walls, kinds),
        *print_reasons(look.printing, straight.green),
        *_looks(look.notes),
    )
    return (
        Check("mesh as written", tuple(replace(r, text=f"as written, {r.text}") for r in found)),
    )


def _binder(look: WallLook) -> Check:
    """Whether binder leaves every section."""
    reasons = _of_kinds(look.places, [FindingKind.THICK_SECTION])
    if look.report.measured_fraction == 0.0:
        return Check("binder", reasons, "no section could be measured")
    return Check("binder", reasons)


def _sag(look: SagLook) -> Check:
    """What the sag does to the part, and what its allowance leaves to think about."""
    unknown = "sag is not known"
    if look.estimate is not None:
        return Check("sag", _estimated(look, look.estimate))
    if look.taken_off is None:
        reasons = _looks((f"sag: {look.why_not}",)) if look.refused else ()
        skipped = "it could not be solved" if look.refused else look.why_not
        return Check("sag", reasons, skipped, unknown)
    from shrinkrule.sag import Saving

    sag = look.taken_off
    reasons = _looks(tuple(f"sag: {text}" for text in sag.before.warnings))
    if not sag.advice:
        return Check("sag", reasons)
    if sag.verdict is Saving.HOPELESS:
        why, *remedies = sag.advice
        text = f"sag: {why}; no allowance will save it: {', or '.join(remedies)}"
        return Check("sag", (Reason(State.STOP, text), *reasons))
    return Check("sag", (*_looks(tuple(f"sag: {text}" for text in sag.advice)), *reasons))


def _estimated(look: SagLook, estimate: SagEstimate) -> tuple[Reason, ...]:
    """What the quick estimate says, with what would be better."""
    reasons = []
    if look.matters:
        x, y, z = (float(value) for value in estimate.at_mm)
        text = (
            f"sag: {estimate.sag_mm:.2f} ± {rounded_up(estimate.half95_mm)} mm as it stands (quick "
            f"estimate, 95 %), at {place_words(estimate.at_mm)}"
        )
        best = next(iter(look.ways), None)
        if best is not None and best.stands and best.sag_mm < 0.5 * estimate.sag_mm:
            text += f"; laid with {best.name} up {small_mm(best.sag_mm)} mm"
        text += "; or take it off beforehand"
        reasons.append(Reason(State.LOOK, text, (x, y, z)))
    if estimate.rolls:
        reasons.append(Reason(State.LOOK, "sag: it rests on a line or a point: chock it"))
    if not estimate.settled:
        reasons.append(
            Reason(State.LOOK, "sag: the estimate stopped before it converged: do not rely on it")
        )
    return tuple(reasons)


def _furnace(recipe: Recipe, fit: FurnaceFit | None) -> Check:
    """Whether the green part fits what it is fired in."""
    if fit is None:
        return Check("furnace", (), "its inside sizes are not stated")
    if fit.fits:
        return Check("furnace")
    return Check(
        "furnace",
        (
            Reason(
                State.STOP,
                f"the green part is {-fit.spare_mm:.1f} mm too large for the {recipe.furnace} "
                f"({fit.tight}), with {CLEARANCE_MM:g} mm kept clear all round",
            ),
        ),
    )


def _shrinkage(recipe: Recipe, prediction: Prediction) -> Check:
    """Whether the calibration holds for this part, and how sure its sizes are."""
    reasons = list(prediction.notes)
    if recipe.row is None:
        return Check("fired sizes", _looks(tuple(reasons)), "factors by hand: no interval is known")
    if recipe.row.extrapolated:
        reasons.insert(0, f"shrinkage is {recipe.row.note}")
    skipped = "" if recipe.row.firing_scatter_known else "a row of one firing knows no interval"
    return Check("fired sizes", _looks(tuple(reasons)), skipped)


def _metal(recipe: Recipe, balance: BalanceCheck | None) -> Check:
    """Whether the row's shrinkage and densities are of the same metal."""
    if balance is None:
        why = "factors by hand" if recipe.row is None else "the row holds no densities to compare"
        return Check("metal balance", (), why)
    return Check("metal balance", _looks((balance.warning,) if balance.warning else ()))


def _of_kinds(places: tuple[Place, ...], kinds: Sequence[FindingKind]) -> tuple[Reason, ...]:
    """One reason for each kind of finding, with its worst place."""
    reasons = []
    for kind in kinds:
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
        x, y, z = worst.in_model
        reasons.append(
            Reason(
                State.STOP if kind.weight is Weight.STOP else State.LOOK,
                f"{kind.value}: {count}, worst {said}, at {place_words(worst.in_model)}"
                + _longer(worst),
                (float(x), float(y), float(z)),
            )
        )
    return tuple(reasons)


def _worst(places: list[Place]) -> Place:
    """The place that matters most of one kind: the thinnest, the thickest, the deepest loss."""
    kind = places[0].finding.kind
    if kind is FindingKind.THICK_SECTION:
        return max(places, key=lambda place: place.finding.smallest_mm)
    if kind is FindingKind.KNIFE_EDGE:
        return max(places, key=lambda place: place.finding.loss_mm or 0.0)
    return min(places, key=lambda place: place.finding.smallest_mm)


def _longer(place: Place) -> str:
    """How much longer binder needs to leave a thick section, where that can be guessed."""
    if place.binder_time is None or place.binder_time <= 1.0:
        return ""
    return f"; {longer_than_coupon(place.binder_time)}"
