"""One key of ``shrinkrule.toml``: its kind, and its value out of a file or an option.

Lengths are mm, or a text with a unit; sizes are a text such as ``80x60x50`` or a list of numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

from shrinkrule.errors import SettingError
from shrinkrule.units import parse_length, parse_sizes

Value = float | int | str | Path
"""A value of a key: mm or another number, a count, a text, sizes as text, or a file."""


class Kind(StrEnum):
    """What a key's value is, in words for a refusal."""

    LENGTH = "a length in mm, as 0.6"
    NUMBER = "a number"
    COUNT = "a whole number"
    TEXT = "a text in quotes"
    FILE = "the name of a file in quotes"
    BOX = 'length x width x height inside in mm, as "80x60x50"'
    ROUND = 'diameter x height inside in mm, as "90x60"'
    BED = 'length x width x height in mm, as "220x220x250"'


_COUNT_OF_SIZES: Final = {Kind.BOX: 3, Kind.ROUND: 2, Kind.BED: 3}


@dataclass(frozen=True)
class Key:
    """One thing that can be stated.

    Parameters
    ----------
    name : str
        Section and name, as ``printer.nozzle``.
    kind : Kind
        What its value is.
    meaning : str
        In words, with its unit.
    example : str
        A value as it stands in a file.
    low, high : float
        Range of a number or of each size.
    built_in : float, int or None
        What holds where nothing is stated.
    unit : str
        Put behind the value.
    of : str
        Key that this one belongs to: a row belongs to its table, a bead to its nozzle.
    instead_of : str
        Key that cannot be stated together with this one.
    """

    name: str
    kind: Kind
    meaning: str
    example: str
    low: float = 0.0
    high: float = float("inf")
    built_in: float | int | None = None
    unit: str = ""
    of: str = ""
    instead_of: str = ""

    @property
    def section(self) -> str:
        """The section it stands in."""
        return self.name.partition(".")[0]

    @property
    def short(self) -> str:
        """Its name in its section."""
        return self.name.partition(".")[2]

    def shown(self, value: Value) -> str:
        """Value with its unit, as people read it.

        Parameters
        ----------
        value : Value
            As :meth:`parse` gives it.

        Returns
        -------
        str
            The text.
        """
        text = f"{value:g}" if isinstance(value, float) else str(value)
        return f"{text} {self.unit}" if self.unit else text

    def parse(self, stated: object, where: str, folder: Path = Path()) -> Value:
        """Value of this key out of a file or an option, refused if it cannot be.

        Parameters
        ----------
        stated : object
            Number, text, or list of numbers.
        where : str
            File and line, or option, for messages.
        folder : Path
            Folder that the name of a file starts from.

        Returns
        -------
        Value
            Lengths and sizes in mm.

        Raises
        ------
        SettingError
            For a value of another kind or out of its range.
        """
        match self.kind:
            case Kind.TEXT if isinstance(stated, str) and stated.strip():
                return stated
            case Kind.FILE if isinstance(stated, str | Path) and str(stated).strip():
                return folder / Path(stated).expanduser()
            case Kind.BOX | Kind.ROUND | Kind.BED:
                return self._sizes(stated, where)
            case Kind.LENGTH if isinstance(stated, str):
                return self._in_range(parse_length(stated, where), where)
            case Kind.COUNT if _is_number(stated) and stated == int(str(stated).split(".")[0]):
                return int(self._in_range(float(str(stated)), where))
            case Kind.LENGTH | Kind.NUMBER if _is_number(stated):
                return self._in_range(float(str(stated)), where)
        raise self._refused(stated, where)

    def _sizes(self, stated: object, where: str) -> str:
        text = stated
        if isinstance(stated, list) and all(_is_number(size) for size in stated):
            text = "x".join(f"{size:g}" for size in stated)
        sizes = parse_sizes(text) if isinstance(text, str) else []
        if len(sizes) != _COUNT_OF_SIZES[self.kind]:
            raise self._refused(stated, where)
        return "x".join(f"{self._in_range(size, where):g}" for size in sizes)

    def _in_range(self, number: float, where: str) -> float:
        if not self.low <= number <= self.high:
            raise SettingError(
                f"{self.short} {number:g} is not from {self.low:g} to {self.high:g}",
                where=where,
                hint=f"give {self.meaning}",
            )
        return number

    def _refused(self, stated: object, where: str) -> SettingError:
        return SettingError(
            f"{self.short} cannot be {stated!r}", where=where, hint=f"give {self.kind.value}"
        )


def _is_number(stated: object) -> bool:
    return isinstance(stated, int | float) and not isinstance(stated, bool)
