"""The review of parts and firings, on the screen and as JSON values; and what a row learned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from rich.console import Console
from rich.table import Table

from shrinkrule.calibration import Axis, CalibrationRow, Estimate, Interval
from shrinkrule.cells import on_screen
from shrinkrule.report.foundation import finite
from shrinkrule.review.firing import FiringReview
from shrinkrule.review.judge import PartReview, is_within
from shrinkrule.review.learn import Lesson
from shrinkrule.review.shrunk import shrunk_more

CERTAIN_TIMES: Final = 1e6
"""Odds beyond which a number says no more."""

LENGTHS_MM: Final[dict[Axis, float]] = {"x": 40.0, "y": 40.0, "z": 20.0}
"""Lengths for which the interval of a row is shown before and after."""


def show_reviews(reviews: Sequence[PartReview], console: Console) -> None:
    """Show what came of some parts.

    Parameters
    ----------
    reviews : sequence of PartReview
        The parts.
    console : Console
        Where to.
    """
    for review in reviews:
        line = review.part.line
        console.print(
            f"[bold]{line.letter} {on_screen(line.name)}[/bold]: {on_screen(review.said)}"
        )
        _show_causes(review, console)
        console.print(_table(review))
        for note in review.notes:
            console.print(f"  {on_screen(note)}", style="dim")


def show_firings(firings: Sequence[FiringReview], console: Console) -> None:
    """Show what the parts of each firing say together.

    Parameters
    ----------
    firings : sequence of FiringReview
        The firings.
    console : Console
        Where to.
    """
    for one in firings:
        console.print(
            f"[bold]firing {on_screen(one.firing)}, {', '.join(one.letters)} together[/bold]: "
            f"{on_screen(one.said)}"
        )
        _show_causes(one, console)


def _show_causes(review: PartReview | FiringReview, console: Console) -> None:
    for one in review.causes:
        words = "; ".join(filter(None, (on_screen(one.about), times_text(one.times))))
        console.print(f"  {one.cause.value}: {words}")
    if review.decides:
        console.print(f"  what would decide: {review.decides}")


def firing_dict(review: FiringReview) -> dict[str, Any]:
    """What the parts of a firing show together, as JSON values.

    Parameters
    ----------
    review : FiringReview
        One firing.

    Returns
    -------
    dict
        JSON values by name; docs/file-formats.md says what they are.
    """
    return finite(
        {
            "firing": review.firing,
            "letters": list(review.letters),
            "said": review.said,
            "causes": _causes(review),
            "decides": review.decides,
            "undecided": [cause.value for cause in review.undecided],
        }
    )


def _causes(review: PartReview | FiringReview) -> list[dict[str, Any]]:
    return [
        {"cause": one.cause.value, "times": one.times, "about": one.about} for one in review.causes
    ]


def times_text(times: float) -> str:
    """Odds in words.

    Parameters
    ----------
    times : float
        How much likelier than plain scatter.

    Returns
    -------
    str
        Rounded to what matters.
    """
    if times >= CERTAIN_TIMES:
        return "over a million times likelier than plain scatter"
    digits = 10.0 ** max(math.floor(math.log10(times)) - 1, 0)
    return f"{digits * round(times / digits):.0f} times likelier than plain scatter"


def _table(review: PartReview) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("")
    table.add_column("what", no_wrap=True, max_width=14)
    for name in ("green", "expected", "fired", "expected"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in review.lengths:
        table.add_row(
            one.reading.id,
            on_screen(one.reading.feature),
            _read(one.read_green_mm, one.green_mm),
            _band(one.green_mm),
            _read(one.read_fired_mm, one.fired_mm),
            _band(one.fired_mm),
        )
    for weight in review.weights:
        if weight.read_g is not None:
            read, band = _read(weight.read_g, weight.expected_g), _band(weight.expected_g)
            fired = weight.stage != "green"
            cells = ("", "", read, band) if fired else (read, band, "", "")
            table.add_row("g", weight.stage, *cells)
    return table


def _read(value: float | None, expected: Interval | None) -> str:
    if value is None:
        return ""
    return f"{value:.2f}" if is_within(value, expected) else f"[bold red]{value:.2f} ![/bold red]"


def _band(expected: Interval | None) -> str:
    if expected is None:
        return ""
    if expected.half95 is None:
        return f"{expected.value:.2f}"
    return f"{expected.value:.2f} ± {expected.half95:.2f}"


def review_dict(review: PartReview, row: CalibrationRow) -> dict[str, Any]:
    """A review as JSON values, lengths in mm, weights in g.

    Parameters
    ----------
    review : PartReview
        One part.
    row : CalibrationRow
        The row it was judged by.

    Returns
    -------
    dict
        JSON values by name; docs/file-formats.md says what they are.
    """
    return finite(
        {
            "said": review.said,
            "causes": _causes(review),
            "decides": review.decides,
            "undecided": [cause.value for cause in review.undecided],
            "outside": list(review.outside),
            "lengths": [
                {
                    "mark": one.reading.id,
                    "axis": one.axis,
                    "between": one.feature.value,
                    "green_mm": one.read_green_mm,
                    "expected_green_mm": one.green_mm.as_dict(),
                    "fired_mm": one.read_fired_mm,
                    "expected_fired_mm": one.fired_mm.as_dict(),
                }
                for one in review.lengths
            ],
            "weights": [
                {
                    "stage": one.stage,
                    "read_g": one.read_g,
                    "expected_g": None if one.expected_g is None else one.expected_g.as_dict(),
                }
                for one in review.weights
            ],
            "shrunk_more": {
                name: {"value": one.value, "u": one.u}
                for name, one in shrunk_more(review, row).items()
            },
            "shrinkage": {
                name: {"xy": row.shrinkage_xy, "z": row.shrinkage_z}[name].value + one.value
                for name, one in shrunk_more(review, row).items()
            },
            "notes": list(review.notes),
        }
    )


def show_lesson(lesson: Lesson, console: Console) -> None:
    """Show how a row would change, before it is written.

    Parameters
    ----------
    lesson : Lesson
        What parts taught.
    console : Console
        Where to.
    """
    console.print(f"[bold]row {on_screen(lesson.row.name)}[/bold], learned from")
    for name in lesson.taught:
        console.print(f"  {on_screen(name)}")
    for name in lesson.not_taught:
        console.print(f"  [yellow]not from[/yellow] {on_screen(name)}")
    table = Table(box=None, pad_edge=False, header_style="bold")
    for number, name in enumerate(("", "was", "will be")):
        table.add_column(name, justify="right" if number else "left")
    for name, was, will in lesson_rows(lesson):
        table.add_row(name, was, will)
    console.print(table)


def lesson_rows(lesson: Lesson) -> list[tuple[str, str, str]]:
    """What changes of a row, in words.

    Parameters
    ----------
    lesson : Lesson
        What parts taught.

    Returns
    -------
    list of tuple of str
        Name, before, after.
    """
    was, will = lesson.before, lesson.row

    def pct(value: Estimate | None) -> str:
        return "not known" if value is None else f"{100 * value.value:.2f} ± {100 * value.u:.2f} %"

    def mm(value: Estimate | None) -> str:
        return "not known" if value is None else f"{value.value:+.3f} ± {value.u:.3f} mm"

    rows = [
        ("coupons and parts", str(was.coupons), str(will.coupons)),
        ("firings", str(was.firings), str(will.firings)),
        ("shrinkage XY", pct(was.shrinkage_xy), pct(will.shrinkage_xy)),
        ("shrinkage Z", pct(was.shrinkage_z), pct(will.shrinkage_z)),
        ("printer's X", pct(was.print_scale_x), pct(will.print_scale_x)),
        ("printer's Y", pct(was.print_scale_y), pct(will.print_scale_y)),
        ("printer's Z", pct(was.print_scale_z), pct(will.print_scale_z)),
        ("bead offset", mm(was.bead_offset_mm), mm(will.bead_offset_mm)),
        ("first layer", mm(was.first_layer_mm), mm(will.first_layer_mm)),
        ("bores", mm(was.bore_offset_mm), mm(will.bore_offset_mm)),
    ]
    for axis, length in LENGTHS_MM.items():
        halves = [row.promise(axis, length).half95 for row in (was, will)]
        first, last = ("not known" if half is None else f"± {half:.2f} mm" for half in halves)
        rows.append((f"{length:.0f} mm along {axis.upper()} (95 %)", first, last))
    return rows
