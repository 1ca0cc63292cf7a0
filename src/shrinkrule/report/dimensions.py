"""Dimensions of a part on the screen, as plain values and in a file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from shrinkrule.dimensions import (
    Dimension,
    FoundDimensions,
    PromisedDimension,
    dimensions_csv,
)
from shrinkrule.files import OutputSet, require_folder
from shrinkrule.mesh import Part
from shrinkrule.report import words
from shrinkrule.report.foundation import finite, program

FLATS_APART_MM: Final = 1e-3
"""Difference from which the diameter over the flats stands beside that of the corners."""


def show_dimensions(
    part: Part,
    found: FoundDimensions,
    files: dict[str, Path],
    console: Console,
    promised: Sequence[PromisedDimension] = (),
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
    """
    console.print(f"[bold]{escape(part.source.name)}[/bold]: {len(found.every)} dimensions")
    console.print(promise_table(promised[: found.first]) if promised else _sizes(found))
    if more := len(found.every) - found.first:
        console.print(f"and {more} more in the list")
    unpromised = sum(one.worst.fired_mm.half95 is None for one in promised[: found.first])
    if unpromised:
        console.print(
            "not known: what no coupon of the row shows, as rounds that lie, gaps between layers",
            style="dim",
        )
    for note in (*part.warnings, *found.notes):
        console.print(f"[yellow]look[/yellow] {escape(note)}")
    console.print(f"[bold]all of them[/bold] {escape(str(files['csv']))}")


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
    for name in ("wanted", "green", "fired mm, 95 %"):
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
    fired = words.with_interval(worst.fired_mm).removesuffix(" mm")
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
    found: FoundDimensions | None, promised: Sequence[PromisedDimension]
) -> list[dict[str, str]]:
    """First dimensions as texts for a page.

    Parameters
    ----------
    found : FoundDimensions or None
        The dimensions.
    promised : sequence of PromisedDimension
        How they will come out, in the same order; empty where no row is known.

    Returns
    -------
    list of dict
        Texts by name.
    """
    if found is None:
        return []
    rows = []
    for number, one in enumerate(found.dozen):
        texts = (one.kind.value, direction_text(one), f"{one.size_mm:.2f}", "", "", "")
        if promised:
            texts = promise_texts(promised[number])
        names = ("kind", "along", "wanted", "green", "fired", "holds")
        rows.append(
            {
                **dict(zip(names, texts, strict=True)),
                "at": ", ".join(f"{round(c, 1) + 0.0:.1f}" for c in one.place),
                "places": str(one.places),
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
        ``X``, ``Y``, ``Z`` or ``slanting``; of a round, that of its axis: ``about Z``.
    """
    name = next(
        (axis for axis, c in zip("XYZ", one.direction, strict=True) if abs(c) > 1.0 - 1e-6),
        "slanting",
    )
    if not one.is_round:
        return name
    return "slanting" if name == "slanting" else f"about {name}"


def dimensions_dict(
    part: Part,
    found: FoundDimensions,
    files: dict[str, Path],
    promised: Sequence[PromisedDimension] = (),
) -> dict[str, Any]:
    """All dimensions of a part as JSON values.

    Parameters
    ----------
    part : Part
        What was measured.
    found : FoundDimensions
        Its dimensions.
    files : dict
        Path of each file that was written, by kind.
    promised : sequence of PromisedDimension
        How they will come out, in the same order; empty where no row is known.

    Returns
    -------
    dict
        JSON values by name; the layout is documented in docs/file-formats.md.
    """
    return finite(
        {
            "schema": "shrinkrule.dimensions",
            "version": 1,
            "program": program(),
            "model": {"file": part.source.name, "format": part.file_format, "unit": part.unit},
            "noise_mm": found.noise_mm,
            "first": found.first,
            "dimensions": dimension_dicts(found, promised),
            "notes": [*part.warnings, *found.notes],
            "files": {kind: str(path) for kind, path in files.items()},
        }
    )


def dimension_dicts(
    found: FoundDimensions, promised: Sequence[PromisedDimension] = ()
) -> list[dict[str, Any]]:
    """Every dimension as JSON values, with its promise where there is one.

    Parameters
    ----------
    found : FoundDimensions
        The dimensions.
    promised : sequence of PromisedDimension
        How they will come out, in the same order; empty where no row is known.

    Returns
    -------
    list of dict
        JSON values by name.
    """
    every = [dimension_dict(number, one) for number, one in enumerate(found.every, start=1)]
    for plain, one in zip(every, promised, strict=False):
        plain["readings"] = [
            {
                "in_print": reading.along,
                "green_mm": reading.green_mm,
                "fired_mm": reading.fired_mm.as_dict(),
            }
            for reading in one.readings
        ]
        plain["iso286"], plain["iso2768"] = one.iso286 or None, one.iso2768 or None
    return every


def dimension_dict(number: int, one: Dimension) -> dict[str, Any]:
    """One dimension as JSON values.

    Parameters
    ----------
    number : int
        Its place in the list, from 1.
    one : Dimension
        The dimension.

    Returns
    -------
    dict
        JSON values by name.
    """
    return {
        "number": number,
        "kind": one.kind.value,
        "between": one.feature.value,
        "size_mm": one.size_mm,
        "over_flats_mm": one.over_flats_mm,
        "facets_round": one.facets_round or None,
        "places": one.places,
        "along": direction_text(one),
        "direction": list(one.direction),
        "at_mm": list(one.place),
    }


def dimensions_outputs(
    part: Part,
    found: FoundDimensions,
    folder: Path,
    inputs: Iterable[Path] = (),
    promised: Sequence[PromisedDimension] = (),
) -> dict[str, Path]:
    """Write the list of dimensions; return its path by kind.

    Parameters
    ----------
    part : Part
        What was measured.
    found : FoundDimensions
        Its dimensions.
    folder : Path
        Where to; it must exist.
    inputs : iterable of Path
        Files that must not be overwritten.
    promised : sequence of PromisedDimension
        How they will come out, in the same order; empty where no row is known.

    Returns
    -------
    dict
        Path of each file, by kind.

    Raises
    ------
    FileError
        If the file cannot be written.
    """
    require_folder(folder)
    files = {"csv": folder / f"{part.source.stem}.dimensions.csv"}
    outputs = OutputSet(inputs)
    outputs.add(files["csv"], dimensions_csv(found, promised).encode())
    outputs.write()
    return files
