"""The judgement of one part: bands kept or not, and the causes that the readings name.

A cause is named where it is ten times likelier than plain scatter, sound parts being ten times as
frequent as parts with any one fault. One that is less likely than the best by more than ten times
is not; of more than two that are left none is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import bdtrc

from shrinkrule.calibration import CalibrationRow, Interval
from shrinkrule.calibration.fit.lengths import caliper_of
from shrinkrule.calibration.sheets.load import LoadedPart
from shrinkrule.numerics.arrays import Floats
from shrinkrule.review.causes import Cause, decides
from shrinkrule.review.likelihood import Weighed, weigh_causes
from shrinkrule.review.readings import (
    Deviations,
    Length,
    deviations_of,
    lengths_of,
    without_torn_repeats,
)
from shrinkrule.review.weights import (
    Weight,
    WeightFault,
    printed_larger,
    weight_faults,
    weights_of,
)

TIMES: Final = 10.0
"""How much likelier a cause must be than plain scatter to be named, than another to stand alone."""

SOUND_PER_FAULT: Final = 10.0
"""Sound parts for each with one certain fault (a rule of the trade): it keeps those from being
accused that are merely the unluckiest of many."""

NAMED: Final = math.log(TIMES * SOUND_PER_FAULT)
"""Logarithm of the likelihood ratio from which a cause is named."""

MOST_NAMED: Final = 2

BEYOND_BAND: Final = 0.05
"""Chance that a reading lies beyond its band of 95 %."""

UNLIKELY: Final = 0.01
"""Chance of readings as unlikely as these under plain scatter, below which they are not sound. Of
many readings some lie beyond their band by chance, and several within theirs may be a fault."""


@dataclass(frozen=True)
class NamedCause:
    """A cause that is named.

    Parameters
    ----------
    cause : Cause
        What it is.
    times : float
        How much likelier it is than plain scatter; infinite where beyond counting.
    about : str
        The reading, row or amount it is about.
    """

    cause: Cause
    times: float
    about: str


@dataclass(frozen=True)
class PartReview:
    """What came of one part.

    Parameters
    ----------
    part : LoadedPart
        The part.
    lengths : tuple of Length
        Its lengths, expected and read.
    weights : tuple of Weight
        Its weights.
    lengths_outside, weights_outside : tuple of str
        Readings outside their band: ``A3 fired``, ``weight green``.
    causes : tuple of NamedCause
        At most two, the likeliest first.
    decides : str
        What would decide between two.
    undecided : tuple of Cause
        More than two causes that nothing decides between.
    notes : tuple of str
        What could not be said, and why.
    judged : bool
        Whether its row knows how parts scatter.
    chance : float
        Chance that a sound part has lengths as unlikely as these, all together.
    torn : tuple of str
        Marks of lengths of which repeats were left out, because they are not of one length.
    """

    part: LoadedPart
    lengths: tuple[Length, ...]
    weights: tuple[Weight, ...]
    lengths_outside: tuple[str, ...]
    weights_outside: tuple[str, ...]
    causes: tuple[NamedCause, ...]
    decides: str
    undecided: tuple[Cause, ...]
    notes: tuple[str, ...]
    judged: bool = True
    chance: float = 1.0
    torn: tuple[str, ...] = ()

    @property
    def outside(self) -> tuple[str, ...]:
        """All readings outside their band."""
        return self.lengths_outside + self.weights_outside

    @property
    def slipped(self) -> str:
        """Mark of the reading that is named as a slip; empty where none is."""
        return next((one.about.split()[0] for one in self.causes if one.cause is Cause.SLIP), "")

    @property
    def said(self) -> str:
        """The judgement in a few words."""
        if not self.judged:
            return "not judged: its row stands on one firing; let it learn from this one"
        if self.causes:
            link = " or " if self.decides else " and "
            return link.join(one.cause.value for one in self.causes)
        if self.undecided:
            return "cannot tell which of " + ", ".join(self.undecided)
        if not self.outside:
            return "within scatter"
        beyond = ", ".join(self.outside) + " beyond the band"
        # So many of a sound part lie there, each band being of 95 %; a weight has its own causes.
        more = float(bdtrc(len(self.outside) - 1, self.read, BEYOND_BAND))
        if min(more, self.chance) >= UNLIKELY and not self.weights_outside:
            return f"within scatter: {beyond}, as happens by chance among {self.read} readings"
        return f"cannot tell: {beyond}"

    @property
    def read(self) -> int:
        """How many lengths were read, green and fired ones for themselves."""
        return sum(
            bool(stage) for one in self.lengths for stage in (one.reading.green, one.reading.fired)
        )


def review_part(
    part: LoadedPart, row: CalibrationRow, others: Sequence[CalibrationRow] = ()
) -> PartReview:
    """Judge one part.

    Parameters
    ----------
    part : LoadedPart
        One part of a filled sheet.
    row : CalibrationRow
        The row that it was made by.
    others : sequence of CalibrationRow
        Rows that it may have been taken for.

    Returns
    -------
    PartReview
        The judgement; none by a row that stands on one firing, which does not know how parts
        scatter.
    """
    part, torn, again = without_torn_repeats(part)
    lengths, weights = lengths_of(part, row), weights_of(part, row)
    outside = _lengths_outside(lengths)
    settings = part.sheet.settings
    step = settings.balance_resolution
    faults = weight_faults(weights, row, step, printed_larger(lengths))
    found: list[NamedCause] = []
    undecided: tuple[Cause, ...] = ()
    chance = 1.0
    if lengths and row.firing_scatter_known:
        deviations = deviations_of(lengths, row, caliper_of([part.sheet]).variance)
        weighed = weigh_causes(deviations, row)
        chance = weighed.chance
        if chance < UNLIKELY or outside:
            found, undecided = _named(weighed, deviations, part, others)
    by_weight = [
        _named_fault(one) for one in faults if one.ratio >= NAMED and row.firing_scatter_known
    ]
    # Weights and lengths are read apart: what they show may both be so.
    found = found[: MOST_NAMED - min(len(by_weight), 1)]
    return PartReview(
        part,
        lengths,
        weights,
        outside,
        tuple(f"weight {w.stage}" for w in weights if not is_within(w.read_g, w.expected_g)),
        tuple(sorted([*by_weight, *found], key=lambda one: -one.times)[:MOST_NAMED]),
        what_decides(found),
        undecided,
        (*again, *_notes(part, lengths, weights)),
        judged=row.firing_scatter_known,
        chance=chance,
        torn=torn,
    )


def _named(
    weighed: Weighed,
    deviations: Deviations,
    part: LoadedPart,
    others: Sequence[CalibrationRow],
) -> tuple[list[NamedCause], tuple[Cause, ...]]:
    """Causes that the lengths name; or those, more than two, that they leave."""
    ratios, about = ratios_of(weighed, deviations)
    ratios[Cause.SLIP] = weighed.slip
    about[Cause.SLIP] = _reading_name(deviations, weighed)
    # Green readings alone say nothing of rows, which differ in what the furnace does.
    if others and Cause.WRONG_ROW in ratios:
        ratios[Cause.WRONG_ROW], about[Cause.WRONG_ROW] = _other_rows(
            part, weighed, ratios[Cause.WRONG_ROW], others
        )
    return likeliest(ratios, about)


def what_decides(named: Sequence[NamedCause]) -> str:
    """What would decide between the causes that are named; empty unless there are two.

    Parameters
    ----------
    named : sequence of NamedCause
        As from :func:`likeliest`.

    Returns
    -------
    str
        What to do.
    """
    return decides(frozenset(one.cause for one in named)) if len(named) == MOST_NAMED else ""


def ratios_of(
    weighed: Weighed, deviations: Deviations
) -> tuple[dict[Cause, float], dict[Cause, str]]:
    """Log likelihood ratios of all causes but slips, and what each does, in words.

    Parameters
    ----------
    weighed : Weighed
        As from :func:`shrinkrule.review.likelihood.weigh_causes`.
    deviations : Deviations
        What was weighed.

    Returns
    -------
    ratios, about : dict
        By cause.
    """
    ratios: dict[Cause, float] = {}
    about: dict[Cause, str] = {}
    for shape, ratio, size in zip(weighed.shapes, weighed.ratios, weighed.sizes, strict=True):
        cause = shape.cause
        if cause is Cause.FIRED_LESS and size < 0.0:
            cause = Cause.FIRED_MORE
        ratios[cause] = float(ratio)
        about[cause] = _amount(deviations, shape.effect, float(size))
    return ratios, about


def likeliest(
    ratios: dict[Cause, float], about: dict[Cause, str]
) -> tuple[list[NamedCause], tuple[Cause, ...]]:
    """Causes to name, the likeliest first; or those, more than two, that nothing decides between.

    Parameters
    ----------
    ratios, about : dict
        By cause, as from :func:`ratios_of`.

    Returns
    -------
    named : list of NamedCause
        At most two.
    undecided : tuple of Cause
        Empty, or more than two.
    """
    least = max(NAMED, max(ratios.values()) - math.log(TIMES))
    close = sorted((c for c, ratio in ratios.items() if ratio >= least), key=lambda c: -ratios[c])
    if len(close) > MOST_NAMED:
        return [], tuple(close)
    return [NamedCause(c, _times(ratios[c]), about[c]) for c in close], ()


def _other_rows(
    part: LoadedPart, weighed: Weighed, general: float, others: Sequence[CalibrationRow]
) -> tuple[float, str]:
    """Ratio for another row, whichever: the mean of theirs and that of a batch not known."""
    ratios, names = [general], [""]
    for row in others:
        lengths = lengths_of(part, row)
        if len(lengths) != len(lengths_of(part, others[0])) or not row.firing_scatter_known:
            continue
        deviations = deviations_of(lengths, row, caliper_of([part.sheet]).variance)
        if len(deviations) == len(weighed.slips):
            ratios.append(weigh_causes(deviations, row).plain - weighed.plain)
            names.append(f"row {row.name!r} fits")
    logs = np.array(ratios)
    total = float(np.logaddexp.reduce(logs)) - math.log(len(logs))
    return total, names[int(logs.argmax())]


def _amount(deviations: Deviations, effect: Floats, size: float) -> str:
    """What a cause does where it does most, in words."""
    done = effect[:, 0] * size
    most = int(np.abs(done).argmax())
    return f"{done[most]:+.2f} mm on {deviations.lengths[most].reading.id}"


def _reading_name(deviations: Deviations, weighed: Weighed) -> str:
    number = int(weighed.slips.argmax())
    stage = "green" if deviations.is_green[number] else "fired"
    reading = deviations.lengths[number].reading
    return f"{reading.id} {stage}, line {reading.line}"


def _named_fault(fault: WeightFault) -> NamedCause:
    of = "of the green weight" if fault.cause is Cause.GAPS else "of the binder"
    return NamedCause(fault.cause, _times(fault.ratio), f"{100.0 * fault.share:.0f} % {of}")


def _times(log_ratio: float) -> float:
    odds = log_ratio - math.log(SOUND_PER_FAULT)
    return math.exp(odds) if odds < 700.0 else math.inf


def _lengths_outside(lengths: tuple[Length, ...]) -> tuple[str, ...]:
    """Readings of lengths outside their band, by mark and stage."""
    return tuple(
        f"{one.reading.id} {stage}"
        for one in lengths
        for stage, read, expected in (
            ("green", one.read_green_mm, one.green_mm),
            ("fired", one.read_fired_mm, one.fired_mm),
        )
        if not is_within(read, expected)
    )


def is_within(read: float | None, expected: Interval | None) -> bool:
    """Whether a reading lies in its band; one without a band, or not read, does.

    Parameters
    ----------
    read : float or None
        The reading.
    expected : Interval or None
        What is expected, with the half width of its band.

    Returns
    -------
    bool
        Whether it does.
    """
    if read is None or expected is None or expected.half95 is None:
        return True
    return abs(read - expected.value) <= expected.half95


def _notes(
    part: LoadedPart, lengths: tuple[Length, ...], weights: tuple[Weight, ...]
) -> tuple[str, ...]:
    said = list(part.sheet.notes)
    if lengths and not any(one.reading.green for one in lengths):
        said.append("no green length: an error of the print cannot be told from the furnace's")
    if not any(one.reading.fired for one in lengths):
        said.append("no fired length yet")
    if not any(one.reading.sag_mm for one in lengths):
        said.append("no sag is known of its lengths, so that sag is not among the causes")
    missing = [one.stage for one in weights if one.read_g is None]
    if missing:
        said.append(f"not weighed: {', '.join(missing)}")
    return tuple(said)
