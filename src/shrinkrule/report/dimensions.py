"""Dimensions of a part on the screen, as plain values and in a file."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from shrinkrule.dimensions import Dimension, FoundDimensions, dimensions_csv
from shrinkrule.files import OutputSet, require_folder
from shrinkrule.mesh import Part
from shrinkrule.report.foundation import finite, program

FLATS_APART_MM: Final = 1e-3
"""Difference from which the diameter over the flats stands beside that of the corners."""


def show_dimensions(
    part: Part, found: FoundDimensions, files: dict[str, Path], console: Console
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
    """
    console.print(f"[bold]{escape(part.source.name)}[/bold]: {len(found.every)} dimensions")
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
    console.print(table)
    if more := len(found.every) - found.first:
        console.print(f"and {more} more in the list")
    for note in (*part.warnings, *found.notes):
        console.print(f"[yellow]look[/yellow] {escape(note)}")
    console.print(f"[bold]all of them[/bold] {escape(str(files['csv']))}")


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


def dimensions_dict(part: Part, found: FoundDimensions, files: dict[str, Path]) -> dict[str, Any]:
    """All dimensions of a part as JSON values.

    Parameters
    ----------
    part : Part
        What was measured.
    found : FoundDimensions
        Its dimensions.
    files : dict
        Path of each file that was written, by kind.

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
            "dimensions": [
                dimension_dict(number, one) for number, one in enumerate(found.every, start=1)
            ],
            "notes": [*part.warnings, *found.notes],
            "files": {kind: str(path) for kind, path in files.items()},
        }
    )


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
    part: Part, found: FoundDimensions, folder: Path, inputs: Iterable[Path] = ()
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
    outputs.add(files["csv"], dimensions_csv(found).encode())
    outputs.write()
    return files
