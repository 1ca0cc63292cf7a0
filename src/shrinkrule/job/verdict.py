"""Make it or do not make it: every check that can be made of a part, and what each says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from shrinkrule.calibration import BalanceCheck
from shrinkrule.compensation import GreenPart, LayerPrediction, Prediction, SizePrediction
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

FAR_OFF: Final = 0.02
"""A side that is expected to miss its wanted size by more than this share, and by more than its
interval, is reported (judgement: the grade of a general tolerance is lost)."""

if TYPE_CHECKING:
    from shrinkrule.sag import SagEstimate, WayUp


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
    printed: GreenPart | None = None,
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
    printed : GreenPart or None
        The green part as it is printed, pre-curved; None where it is the straight part.

    Returns
    -------
    Verdict
        Every check, each with what it says.
    """
    return Verdict(
        (
            _surface(part),
            size_check(recipe, printed or walls.green, prediction),
            bed_check(recipe, printed or walls.green),
            _walls(walls),
            *print_checks(printing, walls.green, part.why_not_trusted),
            *_written(written, walls),
            _binder(walls),
            _sag(sag),
            _furnace(recipe, fit),
            _shrinkage(recipe, prediction, sag),
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
    if look.estimate is not None:
        return Check("sag", _estimated(look, look.estimate))
    if look.taken_off is None:
        reasons = _looks((f"sag: {look.why_not}",)) if look.refused else ()
        return Check("sag", reasons, "" if look.refused else look.why_not, "sag is not known")
    sag = look.taken_off
    others = [text for text in sag.before.warnings if text not in sag.before.beyond_model]
    if look.lost:
        why, *remedies = sag.advice
        text = f"sag: {why}, and no allowance will save it; {_remedies(look, remedies)}"
        return Check("sag", (Reason(State.STOP, text), *_looks(tuple(f"sag: {t}" for t in others))))
    reasons = _looks(tuple(f"sag: {text}" for text in (*sag.before.beyond_model, *others)))
    if sag.advice:
        reasons = (*_looks((f"sag: {_remedies(look, sag.advice)}",)), *reasons)
    if look.leaves_unsure:
        text = (
            f"sag: taken off, but it may still be {rounded_up(sag.unsure_mm)} mm off (95 %), by "
            f"what sag modulus and bricks leave unsure, at {place_words(sag.moves_most_at)}"
        )
        if look.better is not None and not sag.advice:
            text += f"; instead, {_lay(look.better)}"
        x, y, z = (float(value) for value in sag.moves_most_at)
        reasons = (Reason(State.LOOK, text, (x, y, z)), *reasons)
    return Check("sag", reasons)


def _lay(way: WayUp) -> str:
    """To lay a part another way up, in words."""
    return f"lay it with {way.name} up, where it sags by {small_mm(way.sag_mm)} mm"


def _remedies(look: SagLook, advice: Sequence[str]) -> str:
    """Advice in one sentence, with the best way up where six were tried, or none of them."""
    from shrinkrule.sag import ANOTHER_WAY

    named = [] if look.better is None else [_lay(look.better)]
    said: list[str] = []
    for text in advice:
        said += (named if look.ways else [text]) if text == ANOTHER_WAY else [text]
    return "; ".join(said)


def _estimated(look: SagLook, estimate: SagEstimate) -> tuple[Reason, ...]:
    """What the quick estimate says, with what would be better."""
    reasons = []
    x, y, z = (float(value) for value in estimate.at_mm)
    there = f"at {place_words(estimate.at_mm)}"
    lay = [] if look.better is None else [_lay(look.better)]
    if estimate.lost:
        what = ", or ".join([*lay, "hold it with a setter block"])
        text = f"sag: {estimate.lost}, and no allowance will save it, {there}; {what}"
        reasons.append(Reason(State.STOP, text, (x, y, z)))
    elif look.unclear:
        text = (
            f"sag: not known well enough by the quick estimate, {small_mm(estimate.sag_mm)} mm and "
            f"up to {rounded_up(estimate.sag_mm + estimate.numerical_mm)} mm, {there}; have it "
            "taken off, which solves it on finer bricks"
        )
        reasons.append(Reason(State.LOOK, text, (x, y, z)))
    elif look.matters:
        half = rounded_up(estimate.half95_mm)
        much = f"{estimate.sag_mm:.2f} ± {half} mm as it stands"
        if estimate.half95_mm >= estimate.sag_mm:
            up_to = rounded_up(estimate.sag_mm + estimate.half95_mm)
            much = f"{small_mm(estimate.sag_mm)} mm, and up to {up_to} mm, as it stands"
        off = "take it off beforehand"
        if estimate.nearly_lost:
            off = "have it solved before you rely on an allowance: it is near to slumping"
        what = ", or ".join([*lay, off])
        text = f"sag: {much} (quick estimate, 95 %), {there}; {what}"
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
                f"the {fit.stage} part is {rounded_up(-fit.spare_mm, 1)} mm too {fit.too} for the "
                f"{recipe.furnace}, with {CLEARANCE_MM:g} mm kept clear all round",
            ),
        ),
    )


def _shrinkage(recipe: Recipe, prediction: Prediction, sag: SagLook) -> Check:
    """Whether the calibration holds for this part, and how sure its sizes are."""
    reasons = [*prediction.notes, *_off(prediction)]
    if recipe.row is None:
        return Check("fired sizes", _looks(tuple(reasons)), "factors by hand: no interval is known")
    if recipe.row.extrapolated:
        reasons.insert(0, f"shrinkage is {recipe.row.note}")
    skipped = "" if recipe.row.firing_scatter_known else "a row of one firing knows no interval"
    if sag.lost:
        skipped = "not promised: it sags farther than can be computed"
    elif sag.matters:
        skipped = "the sag is not in them"
    return Check("fired sizes", _looks(tuple(reasons)), skipped)


def _off(prediction: Prediction) -> list[str]:
    """Sides that are expected to miss their wanted size, with the heights that layers would hit."""
    said = []
    for size in prediction.sizes:
        off = size.fired_mm.value - size.wanted_mm
        if not abs(off) > max(size.fired_mm.half95 or 0.0, FAR_OFF * size.wanted_mm):
            continue
        text = (
            f"{size.axis} is expected at {size.fired_mm.value:.2f} instead of "
            f"{size.wanted_mm:.2f} mm, {100.0 * abs(off) / size.wanted_mm:.0f} % off"
        )
        if size.axis == "Z" and prediction.layers is not None and prediction.layers.whole_mm:
            text += f", for it is printed in whole layers: {_heights(size, prediction.layers)}"
        said.append(text)
    return said


def _heights(size: SizePrediction, layers: LayerPrediction) -> str:
    """Heights to make instead: those that come out as drawn, the first layer's part with them."""
    whole = layers.whole_mm
    first = size.fired_mm.value - whole[min(max(layers.count - 1, 0), 1)]
    # Drawn so much higher, a height must still be nearest to its own whole layers.
    hit = abs(first) < 0.5 * (whole[-1] - whole[-2])
    heights = [height + first for height in whole if hit and height + first > 0.0]
    below = [f"{h:.2f}" for h in heights if h < size.wanted_mm - 0.005][-1:]
    above = [f"{h:.2f}" for h in heights if h > size.wanted_mm + 0.005][:1]
    if not below + above:
        return "print thinner layers"
    return f"make it {' or '.join(below + above)} mm high, or print thinner layers"


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
