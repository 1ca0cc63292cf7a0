"""The history's file: JSON Lines beside the table, one line for each thing that happened.

A line is appended under the table's own lock and never changed again; a line that cannot be read
is passed over and reported, so that one damaged line loses no other.
"""

from __future__ import annotations

import json
import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from shrinkrule.cells import printable
from shrinkrule.errors import FileError
from shrinkrule.files.locks import locked
from shrinkrule.files.plain import plain_bytes, real_path, require_plain

Entry = dict[str, Any]

SUFFIX: Final = ".history.jsonl"

TEXTS: Final = ("at", "row", "letter", "firing", "date", "said", "verdict")
"""What an entry holds as text, if at all."""

LARGEST_MB: Final = 100
"""Larger files are refused unread: a part takes some 8 kB."""


@dataclass(frozen=True)
class History:
    """What a history's file holds.

    Parameters
    ----------
    path : Path
        The file.
    entries : tuple of dict
        Its lines in their order, the oldest first.
    notes : tuple of str
        What could not be read.
    """

    path: Path
    entries: tuple[Entry, ...]
    notes: tuple[str, ...] = ()

    def of_kind(self, kind: str) -> tuple[Entry, ...]:
        """Entries of one kind: ``made``, ``reviewed`` or ``learned``."""
        return tuple(entry for entry in self.entries if entry["entry"] == kind)

    def about(self, sha256: str) -> tuple[Entry, ...]:
        """Entries in which a file of this checksum stands: a part, green part, report or sheet."""
        return tuple(entry for entry in self.entries if sha256 in checksums_in(entry))


def checksums_in(entry: Entry) -> frozenset[str]:
    """Checksums of all files that an entry names.

    Parameters
    ----------
    entry : dict
        One line of the history.

    Returns
    -------
    frozenset of str
        Each as 64 hexadecimal digits.
    """
    found: set[str] = set()
    for value in entry.values():
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, dict) and isinstance(inner.get("sha256"), str):
                found.add(inner["sha256"])
    return frozenset(found)


def history_path(table: Path) -> Path:
    """Name of the history of a table.

    Parameters
    ----------
    table : Path
        The calibration table.

    Returns
    -------
    Path
        Beside the table itself, a link being followed: ``table.history.jsonl``.
    """
    real = real_path(table)
    return real.with_name(real.stem + SUFFIX)


def append_to_history(table: Path, *entries: Entry) -> Path:
    """Append entries to the history of a table, all or none of them.

    Parameters
    ----------
    table : Path
        The calibration table, whose lock is held meanwhile.
    *entries : dict
        Plain values; ``entry`` says what kind they are.

    Returns
    -------
    Path
        The history's file.

    Raises
    ------
    FileError
        If it cannot be written or held; nothing of it is changed then.
    """
    path = history_path(table)
    lines = "".join(json.dumps(entry, allow_nan=False) + "\n" for entry in entries).encode()
    with locked(real_path(table)):
        if path.exists():
            require_plain(path, "history")
        try:
            with path.open("ab+") as stream:
                end = stream.seek(0, os.SEEK_END)
                if end:
                    stream.seek(end - 1)
                    # What a killed run left of a line stays a line of its own.
                    lines = lines if stream.read(1) == b"\n" else b"\n" + lines
                try:
                    stream.write(lines)
                    stream.flush()
                    os.fsync(stream.fileno())
                except OSError:
                    stream.truncate(end)
                    raise
        except OSError as error:
            raise FileError(
                f"cannot be written ({error.strerror})",
                where=str(path),
                hint="check free space and permissions",
            ) from error
    return path


def read_history(table: Path) -> History:
    """Read the history of a table.

    Parameters
    ----------
    table : Path
        The calibration table.

    Returns
    -------
    History
        Empty where there is none yet.

    Raises
    ------
    FileError
        For a file that cannot be read or is too large to be one.
    """
    path = history_path(table)
    if not path.exists():
        return History(path, ())
    lines = plain_bytes(path, LARGEST_MB, "history").splitlines()
    entries, lost = [], []
    for number, line in enumerate(lines, start=1):
        entry = _entry(line)
        if entry is not None:
            entries.append(entry)
        elif line.strip():
            lost.append(number)
    notes = (
        (f"{printable(path.name)}: {_lines(lost)} could not be read and was passed over",)
        if lost
        else ()
    )
    return History(path, tuple(entries), notes)


def _entry(line: bytes) -> Entry | None:
    """One line as an entry; None where it is none."""
    try:
        value = json.loads(line, parse_constant=_no_number, parse_float=_number)
    except (ValueError, RecursionError):
        return None
    if not isinstance(value, dict) or not isinstance(value.get("entry"), str):
        return None
    if not all(isinstance(value.get(key), str | None) for key in TEXTS):
        return None
    return value


def _number(text: str) -> float:
    """Float of a text; refused beyond what JSON can hold again."""
    value = float(text)
    return value if math.isfinite(value) else _no_number(text)


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number of JSON")


def _lines(numbers: list[int]) -> str:
    shown = ", ".join(map(str, numbers[:5]))
    return f"line {shown}" + (f" and {len(numbers) - 5} more" if len(numbers) > 5 else "")
