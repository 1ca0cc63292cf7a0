"""What stands in the history of a part that was made: files, row, settings, and what was predicted.

All of it is taken from the report that was written, so that the two never differ.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

from shrinkrule.errors import FileError
from shrinkrule.files.checksum import sha256_of
from shrinkrule.files.output import green_kind
from shrinkrule.files.plain import plain_bytes
from shrinkrule.history.store import Entry

VERSION: Final = 1
"""Of the entries; rises when a key changes its meaning or goes."""

LARGEST_MB: Final = 100
"""Of a report: a part of many places has some ten."""

MASSES: Final = ("green_mass_g", "debound_mass_g", "fired_mass_g")


def made_entry(model: Path, files: dict[str, Path]) -> Entry:
    """Entry of a part that was made.

    Parameters
    ----------
    model : Path
        The wanted part.
    files : dict
        Path of its green part (``green_stl`` or ``green_3mf``) and its report (``json``).

    Returns
    -------
    dict
        Plain values; docs/file-formats.md says what they are.

    Raises
    ------
    FileError
        If a file cannot be read.
    """
    report = read_report(files["json"])
    calibration = report["calibration"]
    dimensions = report.get("dimensions") or []
    return {
        "entry": "made",
        "version": VERSION,
        "at": report["created"],
        "part": named_file(model),
        "green": named_file(files[green_kind(files)]),
        "report": named_file(files["json"]),
        "row": None if calibration is None else calibration["row"]["name"],
        "verdict": report["verdict"]["level"],
        "settings": report["recipe"],
        "masses": {name: report["prediction"][name] for name in MASSES},
        "dimensions": [
            {key: one.get(key) for key in ("number", "kind", "size_mm", "along", "readings")}
            for one in dimensions
            if "ends_mm" in one
        ],
    }


def read_report(path: Path) -> dict[str, Any]:
    """Read a report that ``compensate`` wrote.

    Parameters
    ----------
    path : Path
        A file ``NAME.report.json``.

    Returns
    -------
    dict
        Its values.

    Raises
    ------
    FileError
        If it cannot be read or is no such report.
    """
    try:
        report = json.loads(plain_bytes(path, LARGEST_MB, "report"))
    except (ValueError, RecursionError) as error:
        raise _no_report(path) from error
    if not isinstance(report, dict) or report.get("schema") != "shrinkrule.report":
        raise _no_report(path)
    return report


def named_file(path: Path) -> dict[str, str]:
    """Name and checksum of a file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    dict
        ``file`` and ``sha256``.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    return {"file": path.name, "sha256": sha256_of(path)}


def _no_report(path: Path) -> FileError:
    return FileError(
        "this is no report of a green part",
        where=str(path),
        hint="name the NAME.report.json that compensate wrote beside the green part",
    )
