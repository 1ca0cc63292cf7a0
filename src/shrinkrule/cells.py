"""Text that is safe in a spreadsheet's cell and on a screen, whoever wrote it.

What a maker types into a sheet is written into tables and shown on screens. There it must be
text: no formula for a spreadsheet, no control character for a screen.
"""

from __future__ import annotations

import re
from typing import Final

_CONTROL: Final = re.compile(
    "[\x00-\x1f\x7f-\x9f\xad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
    "\ud800-\udfff\ue000-\uf8ff]+"
)
"""Characters that steer a screen instead of standing on it, those of writing direction
and of no width too, and halves of letters, which names of files in another encoding hold."""

_FORMULA: Final = ("=", "+", "-", "@")
"""First characters by which a spreadsheet takes a cell for a formula."""


def printable(text: str) -> str:
    r"""Text as one line without control characters, safe on any screen.

    Parameters
    ----------
    text : str
        A cell, or the name of a file.

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
    """Text as a cell that a spreadsheet takes for text: an apostrophe before what starts a formula.

    Parameters
    ----------
    text : str
        The text.

    Returns
    -------
    str
        The cell; readers of cells take the apostrophe off again.

    Examples
    --------
    >>> cell_text("=1+1"), cell_text("bronze 3")
    ("'=1+1", 'bronze 3')
    """
    plain = printable(text)
    return f"'{plain}" if plain.startswith(_FORMULA) else plain


def is_marked_text(cell: str) -> bool:
    """Whether a cell is text only by its apostrophe, as :func:`cell_text` writes it.

    Parameters
    ----------
    cell : str
        The cell as it was read.

    Returns
    -------
    bool
        Whether the apostrophe is to be taken off.
    """
    return cell.startswith("'") and cell[1:].startswith(_FORMULA)
