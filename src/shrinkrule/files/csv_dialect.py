"""Cells out of a CSV as spreadsheets write it, in any of their dialects.

Takes commas, semicolons or tabs, a byte-order mark, a first line ``sep=;``, a title above the
heading, and the decimal comma; keeps the line number of every row, so that a message can name
the place. No cell carries a formula into a spreadsheet or a control character onto a screen.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from shrinkrule.cells import is_marked_text, printable
from shrinkrule.errors import ShrinkruleError, TableError
from shrinkrule.files.plain import plain_bytes

_DELIMITERS: Final = ",;\t"

LARGEST_MB: Final = 10
"""Larger files are refused unread: a sheet or a table has a few kB."""

_SEP: Final = re.compile(r'"?sep=([,;\t])"?[,;\t\s]*$', re.IGNORECASE)
"""A first line by which some spreadsheets are told what separates the cells."""


@dataclass(frozen=True)
class CsvRow:
    """One row: its line in the file (from 1) and its cells by column name."""

    line: int
    cells: dict[str, str]


@dataclass(frozen=True)
class CsvGrid:
    """A CSV with a header: columns, rows, notes, and how the file is written."""

    where: str
    columns: tuple[str, ...]
    rows: tuple[CsvRow, ...]
    notes: tuple[str, ...]
    delimiter: str = ","
    encoding: str = "utf-8"
    comments: tuple[str, ...] = ()


def read_grid(
    path: Path,
    kind: str = "table",
    error: type[ShrinkruleError] = TableError,
    heading: Collection[str] = (),
) -> CsvGrid:
    """Read a CSV file that a person may have edited in a spreadsheet.

    Parameters
    ----------
    path : Path
        File to read.
    kind : str
        What the file is to the maker (``table``, ``sheet``), for messages.
    error : type
        Error to raise.
    heading : collection of str
        Columns by which the heading is known; lines above it are read past. Without any, the
        first line is the heading.

    Returns
    -------
    CsvGrid
        The cells by row and column.

    Raises
    ------
    ShrinkruleError
        Of type ``error``: for what is no plain file, larger than 10 MB, no text, or without a
        row.
    """
    where = printable(path.name)
    return grid_from(plain_bytes(path, LARGEST_MB, kind, error), where, kind, error, heading)


def grid_from(
    data: bytes,
    where: str,
    kind: str = "table",
    error: type[ShrinkruleError] = TableError,
    heading: Collection[str] = (),
) -> CsvGrid:
    """Cells out of the bytes of a CSV file.

    Parameters
    ----------
    data : bytes
        The whole file.
    where : str
        Its name, for messages.
    kind, error : str, type
        As for :func:`read_grid`.
    heading : collection of str
        As :func:`read_grid`.

    Returns
    -------
    CsvGrid
        The cells by row and column.

    Raises
    ------
    ShrinkruleError
        Of type ``error``: for a file that is no text, or without a row.
    """
    text, encoding, notes = _decoded(data, where, kind, error)
    lines = text.splitlines()
    comments = tuple(line for line in lines if _is_comment(line))
    used = [line for line in lines if line.strip() and not _is_comment(line)]
    told = _SEP.match(used[0]) if used else None
    first = next((line for line in used if _names(line) >= set(heading)), "") if heading else ""
    first = first or next((line for line in used if not _SEP.match(line)), "")
    delimiter = max(_DELIMITERS, key=first.count)
    if told and first.count(told[1]):
        delimiter = told[1]
    if delimiter != ",":
        notes += (f"read as {'semicolon' if delimiter == ';' else 'tab'}-separated",)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    header: tuple[str, ...] = ()
    rows: list[CsvRow] = []
    has_heading = bool(heading) and _names(first) >= set(heading)
    try:
        for cells in reader:
            trimmed = [_read_cell(cell) for cell in cells]
            if not any(trimmed) or trimmed[0].startswith("#"):
                continue
            if not header and _SEP.match(delimiter.join(trimmed)):
                continue
            if not header and has_heading and not set(map(str.lower, trimmed)) >= set(heading):
                notes += (f"line {reader.line_num} stands above the heading and was read past",)
                continue
            if not header:
                header = tuple(name.lower() for name in trimmed)
                continue
            if any(trimmed[len(header) :]):
                raise error(
                    f"line {reader.line_num} has more cells than the header",
                    where=where,
                    hint="put quotes round text or numbers that hold the separator",
                )
            rows.append(CsvRow(reader.line_num, dict(zip(header, trimmed, strict=False))))
    except csv.Error as cause:
        raise error(f"line {reader.line_num} is no CSV ({cause})", where=where) from cause
    if not rows:
        raise error("there is no row under the header", where=where, hint=f"fill in the {kind}")
    return CsvGrid(where, header, tuple(rows), notes, delimiter, encoding, comments)


def _names(line: str) -> set[str]:
    """Names of columns that a line may hold, whatever separates them."""
    return {name.strip('" ').lower() for name in re.split(f"[{_DELIMITERS}]", line)}


def _read_cell(cell: str) -> str:
    """A cell as it was meant: without control characters and the mark of a text."""
    plain = printable(cell)
    return plain[1:] if is_marked_text(plain) else plain


def _is_comment(line: str) -> bool:
    """Whether a line is a comment, even if a spreadsheet put quotes around it."""
    return line.lstrip('" \t').startswith("#")


def number_text(cell: str) -> str:
    """Write a number the way programs do: decimal point, no thousands mark, no percent sign.

    Parameters
    ----------
    cell : str
        A cell as it was typed.

    Returns
    -------
    str
        The same number for ``float``.

    Examples
    --------
    >>> number_text("16,4 %")
    '16.4'
    """
    plain = cell.replace("\u00a0", "").replace(" ", "").removesuffix("%")
    if "," in plain and "." not in plain and plain.count(",") == 1:
        plain = plain.replace(",", ".")
    return plain


def _decoded(
    data: bytes, where: str, kind: str, error: type[ShrinkruleError]
) -> tuple[str, str, tuple[str, ...]]:
    """Text, its encoding, and a note where that is unusual."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16"), "utf-16", ("read as UTF-16",)
        except UnicodeDecodeError as cause:
            hint = f"save the {kind} as CSV again, in UTF-8 if that can be chosen"
            raise error("its UTF-16 text is damaged", where=where, hint=hint) from cause
    if data[:4] == b"PK\x03\x04":
        raise error("this is a workbook", where=where, hint=f"save the {kind} as CSV")
    if b"\0" in data:
        raise error("this is no text", where=where, hint=f"save the {kind} as CSV")
    mark = "utf-8-sig" if data.startswith(b"\xef\xbb\xbf") else "utf-8"
    try:
        return data.decode(mark), mark, ()
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace"), "cp1252", ("read as Windows text, not UTF-8",)
