"""One family of errors: what is wrong, where, and a hint on what to do.

Every refusal of shrinkrule is raised where the fact is known and caught in one
place, the command line, which prints it as a single line. A hint is in words; which
options of the command line it speaks of is a field, and their flags are added there.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum


class Option(StrEnum):
    """A choice of the maker's that a hint may speak of."""

    TABLE = "calibration table"
    ROW = "row of the table"
    DENSITY = "relative density aimed at"
    EXTRAPOLATE = "density beyond the calibrated ones"
    SCALE = "oversize factors by hand"
    OUTLINE = "outlines moved in the mesh"
    SAG = "sag taken off"
    NO_SAG = "sag not looked at"
    FURNACE_UP = "way up in the furnace"
    OPEN = "surface that is not closed"
    UNITE = "overlapping bodies made one"
    KEEP = "overlapping bodies kept as they are"
    AGAIN = "green part enlarged once more"
    CORRECTED = "printer corrected since"
    SUPPORT = "setter block or ballast"
    TEACH = "part that teaches all the same"
    POOL = "coupons of different printers fitted together"


class ShrinkruleError(Exception):
    """A refusal in one sentence a maker understands.

    Parameters
    ----------
    what : str
        What is wrong, without a full stop.
    where : str
        The file, row, column or axis concerned; may be empty.
    hint : str
        What to do about it, without a full stop; may be empty.
    options : tuple of Option
        The maker's choices that the hint speaks of.

    Examples
    --------
    >>> print(ShrinkruleError("the file is empty", where="cup.stl", hint="export it again"))
    cup.stl: the file is empty; export it again.
    """

    def __init__(
        self, what: str, *, where: str = "", hint: str = "", options: tuple[Option, ...] = ()
    ) -> None:
        self.what = what
        self.where = where
        self.hint = hint
        self.options = options
        place = f"{where}: " if where else ""
        advice = f"; {hint}" if hint else ""
        super().__init__(f"{place}{what}{advice}.")


@contextmanager
def naming(where: str) -> Iterator[None]:
    """Add the part's name to refusals of a mesh that do not say which it was.

    Parameters
    ----------
    where : str
        Name of the part.

    Raises
    ------
    MeshError
        The same refusal, with the name.
    """
    try:
        yield
    except MeshError as refusal:
        if refusal.where:
            raise
        raise MeshError(
            refusal.what, where=where, hint=refusal.hint, options=refusal.options
        ) from refusal


class FileError(ShrinkruleError):
    """A file cannot be read or written."""


class MeshError(ShrinkruleError):
    """A mesh cannot be trusted for what was asked."""


class TableError(ShrinkruleError):
    """A calibration table or one of its cells is wrong."""


class SheetError(ShrinkruleError):
    """A measuring sheet or one of its cells is wrong."""


class SettingError(ShrinkruleError):
    """An option or argument is out of its range."""
