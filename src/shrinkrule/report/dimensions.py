"""Dimensions of a part in words, on the screen and for a page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from rich.console import Console
from rich.table import Table

from shrinkrule.cells import on_screen
from shrinkrule.dimensions import (
    Dimension,
    FoundDimensions,
    Kind,
    PromisedDimension,
    Toleranced,
    numbered_dozen,
    part_chance,
)
from shrinkrule.mesh import Part
from shrinkrule.report import words
from shrinkrule.report.pictures.walls import Picture

FLATS_APART_MM: Final = 1e-3
"""Difference from which the diameter over the flats stands beside that of the corners."""


def show_dimensions(
    part: Part,
    found: FoundDimensions,
    files: dict[str, Path],
    console: Console,
    promised: Sequence[PromisedDimension] = (),
    judged: Sequence[Toleranced] = (),
) -> None:
    """Show the first dimensions of a part, and where all of them are.

    Parameters
    ----------
    part : Part
        What was measured.
    found : FoundDimensions
        Its dimensions.
    files : dict
        Path of each file that was written, by kind.
    console : Console
        Where to.
    promised : sequence of PromisedDimension
        How the dimensions will come out, in the same order; empty where no row is known.
    judged : sequence of Toleranced
        Those with limits.
    """
    console.print(f"[bold]{on_screen(part.source.name)}[/bold]: {len(found.every)} dimensions")
    console.print(promise_table(promised[: found.first]) if promised else _sizes(found))
    flats = ", ".join(
        f"{mark.number} is {over_flats(mark.dimension)}"
        for mark in numbered_dozen(found)
        if promised and over_flats(mark.dimension)
    )
    if flats:
        console.print(f"through the facets' corners; over their flats {flats} mm", style="dim")
    if more := len(found.every) - found.first:
        console.print(f"and {more} more in the list")
    if judged:
        console.print(_chances(judged))
        console.print(f"[bold]all limits kept[/bold] {part_chance_text(judged)}")
    if promised:
        console.print("sag is in neither sizes nor chances: see compensate", style="dim")
    unpromised = sum(one.worst.fired_mm.half95 is None for one in promised[: found.first])
    if unpromised:
        console.print(
            "not known: what no coupon of the row shows, as rounds that lie, gaps between layers",
            style="dim",
        )
    for note in (*part.warnings, *found.notes):
        console.print(f"[yellow]look[/yellow] {on_screen(note)}")
    console.print(f"[bold]all of them[/bold] {on_screen(str(files['csv']))}")


def _chances(judged: Sequence[Toleranced]) -> Table:
    """Dimensions with limits, their chance, and what to do."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in ("", "what", "limits mm", "fired", "chance"):
        table.add_column(name, no_wrap=True)
    table.add_column("advice")
    for one in judged:
        table.add_row(
            str(one.number),
            one.promised.dimension.kind.value,
            limits_text(one),
            words.with_interval(one.promised.worst.fired_mm).removesuffix(" mm"),
            "not known" if one.chance is None else f"{100 * one.chance:.0f} %",
            one.advice,
        )
    return table


def limits_text(one: Toleranced) -> str:
    """Limits of a dimension in a few words.

    Parameters
    ----------
    one : Toleranced
        A dimension with limits.

    Returns
    -------
    str
        As ``7.90 to 8.10``.
    """
    lower, upper = one.limits.lower_mm, one.limits.upper_mm
    if math.isinf(lower):
        return f"to {upper:.2f}"
    return f"from {lower:.2f}" if math.isinf(upper) else f"{lower:.2f} to {upper:.2f}"


def part_chance_text(judged: Sequence[Toleranced]) -> str:
    """Chance that one part keeps all of its limits, in words.

    Parameters
    ----------
    judged : sequence of Toleranced
        Dimensions with limits.

    Returns
    -------
    str
        Bounds in per cent, or ``not known``.
    """
    bounds = part_chance(judged)
    if bounds is None:
        return "not known"
    low, high = (f"{100 * bound:.0f}" for bound in bounds)
    return f"{low} %" if low == high else f"{low} to {high} %"


def _sizes(found: FoundDimensions) -> Table:
    """First dimensions as they are on the wanted part, each with its place."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("")
    table.add_column("what", no_wrap=True)
    for name in ("size mm", "over flats"):
        table.add_column(name, justify="right", no_wrap=True)
    for name in ("along", "at x, y, z mm", "places"):
        table.add_column(name, no_wrap=True)
    for number, one in enumerate(found.dozen, start=1):
        table.add_row(
            str(number),
            one.kind.value,
            f"{one.size_mm:.3f}",
            over_flats(one),
            direction_text(one),
            ", ".join(f"{round(c, 1) + 0.0:.1f}" for c in one.place),
            f"{one.places}" if one.places > 1 else "",
        )
    return table


def promise_table(promised: Sequence[PromisedDimension]) -> Table:
    """Dimensions as they are wanted, printed and fired.

    Parameters
    ----------
    promised : sequence of PromisedDimension
        In the order of the list, from its first on.

    Returns
    -------
    Table
        For the screen.
    """
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("")
    table.add_column("what", no_wrap=True)
    table.add_column("in print", no_wrap=True)
    for name in ("wanted", "green read", "fired mm, 95 %"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("can hold", no_wrap=True)
    for number, one in enumerate(promised, start=1):
        table.add_row(str(number), *promise_texts(one))
    return table


def promise_texts(one: PromisedDimension) -> tuple[str, str, str, str, str, str]:
    """One promised dimension in words.

    Parameters
    ----------
    one : PromisedDimension
        The dimension; shown by its reading that may be farthest off.

    Returns
    -------
    tuple of str
        Kind, direction in the print, wanted, green and fired size in mm, class.
    """
    worst = one.worst
    fired = words.fired_text(worst.fired_mm).removesuffix(" mm")
    holds = ", ".join(filter(None, (one.iso286, one.iso2768 and f"2768 {one.iso2768}")))
    if worst.fired_mm.half95 is None:
        holds = "not known"
    return (
        one.dimension.kind.value,
        worst.along,
        f"{one.dimension.size_mm:.2f}",
        f"{worst.green_mm:.2f}",
        fired,
        holds or "none",
    )


def dimension_rows(
    found: FoundDimensions | None,
    promised: Sequence[PromisedDimension],
    stills: Sequence[Picture] = (),
) -> list[dict[str, str]]:
    """First dimensions as texts for a page.

    Parameters
    ----------
    found : FoundDimensions or None
        The dimensions.
    promised : sequence of PromisedDimension
        How they will come out, in the same order; empty where no row is known.
    stills : sequence of Picture
        Pictures with their numbers.

    Returns
    -------
    list of dict
        Texts by name.
    """
    if found is None:
        return []
    rows = []
    for mark in numbered_dozen(found):
        one = mark.dimension
        texts = (one.kind.value, direction_text(one), f"{one.size_mm:.2f}", "", "", "")
        if promised:
            texts = promise_texts(promised[mark.number - 1])
        names = ("kind", "along", "wanted", "green", "fired", "holds")
        rows.append(
            {
                **dict(zip(names, texts, strict=True)),
                "number": str(mark.number),
                "flats": over_flats(one),
                "at": ", ".join(f"{round(c, 1) + 0.0:.1f}" for c in one.place),
                "fly": ",".join(f"{c:.3f}" for c in mark.ends.mean(axis=0)),
                "places": str(one.places),
                "seen": ", ".join(
                    still.letter for still in stills if str(mark.number) in still.marked
                ),
            }
        )
    return rows


def over_flats(one: Dimension) -> str:
    """Diameter over the flats where it differs from that over the corners, else nothing.

    Parameters
    ----------
    one : Dimension
        Any dimension.

    Returns
    -------
    str
        mm.
    """
    flats = one.over_flats_mm
    if flats is None or abs(one.size_mm - flats) <= FLATS_APART_MM:
        return ""
    return f"{flats:.3f}"


def direction_text(one: Dimension) -> str:
    """Direction of a dimension in a word.

    Parameters
    ----------
    one : Dimension
        Any dimension.

    Returns
    -------
    str
        ``X``, ``Y``, ``Z`` or ``slanting``; of a round, that of its axis: ``about Z``; of a ball
        ``any``.
    """
    name = next(
        (axis for axis, c in zip("XYZ", one.direction, strict=True) if abs(c) > 1.0 - 1e-6),
        "slanting",
    )
    if one.kind is Kind.BALL:
        return "any"
    if not one.is_round:
        return name
    return "slanting" if name == "slanting" else f"about {name}"
