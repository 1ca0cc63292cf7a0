"""What stands in the history of a part that came back: its readings, and what was said of them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from shrinkrule.history.made import VERSION, named_file
from shrinkrule.history.store import Entry


def reviewed_entry(sheet: Path, row: str, part: dict[str, Any], said: dict[str, Any]) -> Entry:
    """Entry of a part that was reviewed.

    Parameters
    ----------
    sheet : Path
        The filled sheet.
    row : str
        Row of the table that the part was judged by.
    part : dict
        ``letter``, ``name``, ``green_sha256``, ``firing`` and ``date``.
    said : dict
        The review as JSON values.

    Returns
    -------
    dict
        Plain values; docs/file-formats.md says what they are.
    """
    return {
        "entry": "reviewed",
        "version": VERSION,
        "at": now(),
        "part": {"file": part["name"]},
        "green": {"file": "", "sha256": part["green_sha256"]},
        "sheet": named_file(sheet),
        "letter": part["letter"],
        "row": row,
        "firing": part["firing"],
        "date": part["date"],
        **said,
    }


def learned_entry(row: str, sheets: list[Path], said: str, changes: dict[str, Any]) -> Entry:
    """Entry of a row that was fitted again.

    Parameters
    ----------
    row : str
        Its name.
    sheets : list of Path
        All that it was fitted from.
    said : str
        What changed, in words.
    changes : dict
        What changed, as JSON values.

    Returns
    -------
    dict
        Plain values.
    """
    return {
        "entry": "learned",
        "version": VERSION,
        "at": now(),
        "row": row,
        "said": said,
        "sheets": [named_file(sheet) for sheet in sheets],
        "changes": changes,
    }


def now() -> str:
    """The moment, in UTC, as entries say it."""
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
