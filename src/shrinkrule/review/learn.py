"""What reviewed parts teach: their row fitted again with its own sheets and theirs, by one fit.

Nothing is written here. What would change is in the lesson, for the maker to look at first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from shrinkrule.calibration import (
    CalibrationRow,
    FitResult,
    evidence_files,
    evidence_of,
    fit_sheets,
    row_from_fit,
)
from shrinkrule.calibration.fit.lengths import read_witnesses, why_no_witness
from shrinkrule.calibration.sheets.load import as_coupon
from shrinkrule.errors import Option, SheetError
from shrinkrule.files.plain import real_path
from shrinkrule.review.firing import FiringReview
from shrinkrule.review.judge import PartReview


@dataclass(frozen=True)
class Lesson:
    """A row as it was, and as it would be.

    Parameters
    ----------
    before, row : CalibrationRow
        The row.
    fit : FitResult
        The fit of all sheets.
    sheets : tuple of Path
        All that was fitted, the row's own first.
    taught : tuple of str
        Parts that joined.
    not_taught : tuple of str
        Parts that could not, with the reason.
    doubtful : tuple of str
        Parts that joined although something was named that went wrong with them.
    """

    before: CalibrationRow
    row: CalibrationRow
    fit: FitResult
    sheets: tuple[Path, ...]
    taught: tuple[str, ...]
    not_taught: tuple[str, ...]
    doubtful: tuple[str, ...]


def learn(
    row: CalibrationRow,
    table: Path,
    sheets: Sequence[Path],
    reviews: Sequence[PartReview],
    firings: Sequence[FiringReview],
    accepted: Sequence[str] | None = None,
) -> Lesson:
    """Fit a row again with parts that were made by it.

    Parameters
    ----------
    row : CalibrationRow
        The row; it must name its sheets.
    table : Path
        Its table.
    sheets : sequence of Path
        Filled sheets of loads.
    reviews : sequence of PartReview
        Reviews of all parts on them.
    firings : sequence of FiringReview
        What parts of one firing show together.
    accepted : sequence of str, optional
        Letters of parts that teach although a fault was named; the others of those are left out.
        Without it none is, and the lesson's doubts are to be asked about.

    Returns
    -------
    Lesson
        The row as it would be.

    Raises
    ------
    TableError
        If the row does not name its sheets, or one of them has changed.
    SheetError
        If no part can be fitted, or all are in the row already.
    """
    earlier = evidence_files(row.evidence, row.name, table.parent)
    known = {real_path(path) for path in earlier}
    fresh = [path for path in sheets if real_path(path) not in known]
    if not fresh:
        raise SheetError(
            f"row {row.name!r} has learned from it already",
            where=sheets[0].name,
            hint="nothing is to be done",
        )
    reasons = {_name(one): why_no_witness(as_coupon(one.part)) for one in reviews}
    faulty = _faulty(reviews, firings)
    refused = [
        one
        for one in reviews
        if accepted is not None
        and _name(one) in faulty
        and not reasons[_name(one)]
        and one.part.line.letter not in accepted
    ]
    for one in refused:
        reasons[_name(one)] = (
            f"{faulty[_name(one)]}; named by its letter {one.part.line.letter}, "
            "it teaches all the same"
        )
    taught = tuple(name for name, reason in reasons.items() if not reason)
    not_taught = tuple(f"{name}: {reason}" for name, reason in reasons.items() if reason)
    if not taught:
        raise SheetError(
            f"no part on it can teach: {not_taught[0]}",
            where=fresh[0].name,
            hint="look at what went wrong with it first"
            if refused
            else "three lengths along each of X, Y and Z are needed, read green and fired",
            options=(Option.TEACH,) if refused else (),
        )
    slips = [
        f"{as_coupon(one.part).settings.coupon}:{mark}"
        for one in reviews
        if _name(one) in taught
        for mark in filter(None, (one.slipped, *one.torn))
    ]
    unused = [f"{as_coupon(one.part).settings.coupon}@{_firing(one)}" for one in refused]
    paths = (*earlier, *fresh)
    read = [sheet for path in paths for sheet in read_witnesses(path)]
    fit = fit_sheets(read, tuple(dict.fromkeys((*row.left_out, *slips, *unused))))
    return Lesson(
        before=row,
        row=row_from_fit(fit, row.name, "", evidence_of(paths, table.parent)),
        fit=fit,
        sheets=paths,
        taught=taught,
        not_taught=not_taught,
        doubtful=tuple(f"{name}: {said}" for name, said in faulty.items() if name in taught),
    )


def _faulty(reviews: Sequence[PartReview], firings: Sequence[FiringReview]) -> dict[str, str]:
    """Parts for which a fault is named, or for their firing, with what is said."""
    found = {}
    for one in reviews:
        if one.causes or one.undecided:
            found[_name(one)] = one.said
            continue
        for firing in firings:
            if firing.is_off(one):
                found[_name(one)] = f"its firing: {firing.said}"
    return found


def _firing(review: PartReview) -> str:
    return review.part.sheet.settings.firing


def _name(review: PartReview) -> str:
    """Letter and name of a part, with its sheet, since letters come on every sheet."""
    line = review.part.line
    return f"{line.letter} {line.name} of {review.part.sheet.where}"
