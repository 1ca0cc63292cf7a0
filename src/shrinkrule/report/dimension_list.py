"""Dimensions of a part as plain values, and the files of the command that lists them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from shrinkrule.dimensions import (
    Dimension,
    FoundDimensions,
    PromisedDimension,
    Toleranced,
    dimensions_csv,
    part_chance,
)
from shrinkrule.files import OutputSet
from shrinkrule.mesh import Part
from shrinkrule.report.dimensions import direction_text
from shrinkrule.report.foundation import finite, program


def dimensions_dict(
    part: Part,
    found: FoundDimensions,
    files: dict[str, Path],
    promised: Sequence[PromisedDimension] = (),
    judged: Sequence[Toleranced] = (),
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
    judged : sequence of Toleranced
        Those with limits.

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
            "limits": [
                {
                    "number": one.number,
                    "lower_mm": one.limits.lower_mm,
                    "upper_mm": one.limits.upper_mm,
                    "thread": None if one.limits.thread is None else one.limits.thread.name,
                    "chance": one.chance,
                    "advice": one.advice,
                }
                for one in judged
            ],
            "chance_of_part": part_chance(judged),
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
                "between": reading.feature.value,
                "model_mm": reading.model_mm,
                "sag_mm": reading.sag_mm,
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
    judged: Sequence[Toleranced] = (),
) -> dict[str, Path]:
    """Write the list of dimensions; return its path by kind.

    Parameters
    ----------
    part : Part
        What was measured.
    found : FoundDimensions
        Its dimensions.
    folder : Path
        Where to; made if needed.
    inputs : iterable of Path
        Files that must not be overwritten.
    promised : sequence of PromisedDimension
        How they will come out, in the same order; empty where no row is known.
    judged : sequence of Toleranced
        Those with limits.

    Returns
    -------
    dict
        Path of each file, by kind.

    Raises
    ------
    FileError
        If the file cannot be written.
    """
    files = {"csv": folder / f"{part.source.stem}.dimensions.csv"}
    outputs = OutputSet(inputs)
    outputs.add(files["csv"], dimensions_csv(found, promised, judged).encode())
    outputs.write()
    return files
