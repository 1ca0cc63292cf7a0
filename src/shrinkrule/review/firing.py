"""The judgement of a firing: what its parts show together that one alone cannot.

A furnace that did less moves every part of its load; a part that is off alone was in another place
of it, or went wrong by itself. So the fired deviations of all parts are weighed as one vector: what
the firing gives they have in common, what is a part's own they have not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from shrinkrule.calibration import CalibrationRow
from shrinkrule.calibration.fit.lengths import caliper_of
from shrinkrule.review.causes import Cause, part_shapes
from shrinkrule.review.judge import (
    UNLIKELY,
    NamedCause,
    PartReview,
    likeliest,
    ratios_of,
    what_decides,
)
from shrinkrule.review.likelihood import weigh_causes
from shrinkrule.review.readings import Deviations, deviations_of, of_one_firing


@dataclass(frozen=True)
class FiringReview:
    """What the parts of one firing show together.

    Parameters
    ----------
    firing : str
        Its name on the sheets.
    parts : tuple of PartReview
        The parts that were looked at.
    causes : tuple of NamedCause
        At most two, the likeliest first.
    decides : str
        What would decide between two.
    undecided : tuple of Cause
        More than two causes that nothing decides between.
    """

    firing: str
    parts: tuple[PartReview, ...]
    causes: tuple[NamedCause, ...]
    decides: str
    undecided: tuple[Cause, ...]

    @property
    def letters(self) -> tuple[str, ...]:
        """Letters of the parts."""
        return tuple(part.part.line.letter for part in self.parts)

    def is_off(self, part: PartReview) -> bool:
        """Whether something is named for all parts of the firing, one of which this is.

        Parameters
        ----------
        part : PartReview
            Any part.

        Returns
        -------
        bool
            False where one part is named to be otherwise than the others.
        """
        causes = {one.cause for one in self.causes} or set(self.undecided)
        return part in self.parts and bool(causes - {Cause.ONE_PART})

    @property
    def said(self) -> str:
        """The judgement in a few words."""
        if self.causes:
            return " or ".join(one.cause.value for one in self.causes)
        if self.undecided:
            return "cannot tell which of " + ", ".join(self.undecided)
        return "within scatter"


def review_firings(reviews: Sequence[PartReview], row: CalibrationRow) -> list[FiringReview]:
    """Judge the firings of some parts.

    Parameters
    ----------
    reviews : sequence of PartReview
        Parts made by the row.
    row : CalibrationRow
        The row.

    Returns
    -------
    list of FiringReview
        Of firings with a name and at least two parts that were read fired; none by a row that
        stands on one firing.
    """
    by_name: dict[str, list[PartReview]] = {}
    for one in reviews:
        if any(length.reading.fired for length in one.lengths):
            by_name.setdefault(one.part.sheet.settings.firing, []).append(one)
    return [
        _review_firing(name, parts, row)
        for name, parts in by_name.items()
        if name and len(parts) > 1 and row.firing_scatter_known
    ]


def _review_firing(name: str, reviews: list[PartReview], row: CalibrationRow) -> FiringReview:
    deviations = of_one_firing(
        [
            deviations_of(
                # A reading that is a slip by itself says nothing of the firing.
                tuple(one for one in review.lengths if one.reading.id != review.slipped),
                row,
                caliper_of([review.part.sheet]).variance,
            )
            for review in reviews
        ]
    )
    found: list[NamedCause] = []
    undecided: tuple[Cause, ...] = ()
    if len(np.unique(deviations.part)) > 1:
        found, undecided = _named(deviations, row, reviews)
    return FiringReview(name, tuple(reviews), tuple(found), what_decides(found), undecided)


def _named(
    deviations: Deviations, row: CalibrationRow, reviews: Sequence[PartReview]
) -> tuple[list[NamedCause], tuple[Cause, ...]]:
    """Causes that the parts name together, one of them being otherwise among them."""
    shapes, part = part_shapes(deviations, row)
    weighed = weigh_causes(deviations, row, shapes)
    if weighed.chance >= UNLIKELY and not any(one.lengths_outside for one in reviews):
        return [], ()
    ratios, about = ratios_of(weighed, deviations)
    # Whichever part it is: the mean of all, as for a slip of one reading.
    alone = weighed.ratios[-len(shapes) :]
    ratios[Cause.ONE_PART] = float(logsumexp(alone)) - math.log(len(alone))
    about[Cause.ONE_PART] = f"part {reviews[part[int(alone.argmax())]].part.line.letter}"
    return likeliest(ratios, about)
