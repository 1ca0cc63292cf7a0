"""What one source states of the settings: options, the row, a file, or the program itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from shrinkrule.errors import SettingError
from shrinkrule.settings.key import Value
from shrinkrule.settings.keys import KEYS


class Source(StrEnum):
    """Where a value comes from; the earlier one holds."""

    OPTION = "option"
    ROW = "row"
    FILE = "file"
    USER = "user's file"
    BUILT_IN = "built in"


@dataclass(frozen=True)
class Stated:
    """What one source states.

    Parameters
    ----------
    source : Source
        What kind of source it is.
    name : str
        Which one: the file, or the row.
    values : mapping of str to Value
        Value of each key it states.
    lines : mapping of str to int
        Line of each key, in a file.
    called : mapping of str to str
        What the maker calls each key there, as an option of a command.
    ties : mapping of str to str
        Keys that belong to another one here, beside those that always do.
    at_least : frozenset of str
        Keys that are stated as a lower limit: what states more of them holds.

    Raises
    ------
    SettingError
        If it states two keys of which only one can hold.
    """

    source: Source
    name: str
    values: Mapping[str, Value]
    lines: Mapping[str, int] = field(default_factory=dict)
    called: Mapping[str, str] = field(default_factory=dict)
    ties: Mapping[str, str] = field(default_factory=dict)
    at_least: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        for name in self.values:
            other = KEYS[name].instead_of
            if other in self.values:
                words = [self.called.get(key, key) for key in sorted((name, other))]
                raise SettingError(
                    f"the {KEYS[name].section} is given twice",
                    where=self.name,
                    hint=f"give either {words[0]} or {words[1]}",
                )

    def place(self, name: str) -> str:
        """Where exactly a key is stated, in words.

        Parameters
        ----------
        name : str
            Full name of a key that is stated.

        Returns
        -------
        str
            Option, row, or file and line.
        """
        if name in self.called:
            return self.called[name]
        if name in self.lines:
            return f"{self.name}, line {self.lines[name]}"
        return self.name

    @classmethod
    def by_options(cls, called: Callable[[str], str] = str, **texts: object) -> Stated:
        """Stated by the maker for this one run.

        Parameters
        ----------
        called : callable
            Gives the option's name as the maker knows it, for a key's own name.
        **texts : object
            What each option was given, by the key's own name; ``None`` where it was not.

        Returns
        -------
        Stated
            Their values.

        Raises
        ------
        SettingError
            For a value that cannot be.
        """
        by_short = {key.short: key for key in KEYS.values()}
        keys = [by_short[short] for short, text in texts.items() if text is not None]
        names = {key.name: called(key.short) for key in keys}
        values = {key.name: key.parse(texts[key.short], names[key.name]) for key in keys}
        return cls(Source.OPTION, "", values, called=names)


BUILT_IN = Stated(
    Source.BUILT_IN,
    "",
    {key.name: key.built_in for key in KEYS.values() if key.built_in is not None},
)
"""What holds where nothing is stated."""
