"""Text of others (names of files, rows, materials) as it may be shown: nothing in it acts.

Control characters move the cursor, marks of direction turn a line round, and a cell that
begins with an equals sign is run by spreadsheets. All come out as what they are.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

_ACTING: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Categories of Unicode that are no letter: control, format (marks of direction), surrogates,
private and unassigned ones, and separators of lines and paragraphs."""

_CONTROL: Final = re.compile("[\x00-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069]+")
"""Characters that steer a screen instead of standing on it, those of writing direction too."""

_FORMULA: Final = ("=", "+", "-", "@")
"""What a spreadsheet takes for the beginning of a formula."""


def shown(text: str) -> str:
    r"""Text with everything in it that would act on a screen written as an escape.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        One line.

    Examples
    --------
    >>> print(shown("part\u202elts\x1b[2J"))
    part\u202elts\x1b[2J
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_escaped(c) if unicodedata.category(c) in _ACTING else c for c in text)


def _escaped(letter: str) -> str:
    return letter.encode("unicode_escape").decode()


def printable(text: str) -> str:
    r"""Words of a cell as one line without control characters.

    Parameters
    ----------
    text : str
        A cell.

    Returns
    -------
    str
        The text, a blank in place of each run of control characters.

    Examples
    --------
    >>> printable("bronze\x1b[2J 3")
    'bronze [2J 3'
    """
    return _CONTROL.sub(" ", text).strip()


def cell_text(text: str) -> str:
    """Text for a cell of a CSV, with a mark before it where a spreadsheet would run it.

    Parameters
    ----------
    text : str
        Words of somebody; numbers are not handed in here.

    Returns
    -------
    str
        One line without control characters, behind an apostrophe where it begins like a formula.

    Examples
    --------
    >>> cell_text("=HYPERLINK(1)")
    "'=HYPERLINK(1)"
    """
    plain = printable(text)
    return f"'{plain}" if plain.startswith(_FORMULA) else plain


def words_of_cell(cell: str) -> str:
    """Text of a cell that :func:`cell_text` made.

    Parameters
    ----------
    cell : str
        The cell.

    Returns
    -------
    str
        Without the mark.

    Examples
    --------
    >>> words_of_cell("'=HYPERLINK(1)")
    '=HYPERLINK(1)'
    """
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(_FORMULA) else cell
