"""Which value of each key holds: an option, then the row, the nearest file, the user's, built in.

Key by key, with two ties. What belongs to another key (a row to its table, a bead to its nozzle)
holds only where that other one holds too; and of two that exclude each other (a box, a crucible)
the first source that states either decides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from shrinkrule.printer import BEAD_PER_NOZZLE, LAYER_PER_NOZZLE
from shrinkrule.settings.key import Key, Value
from shrinkrule.settings.keys import KEYS
from shrinkrule.settings.stated import BUILT_IN, Source, Stated
from shrinkrule.settings.toml_files import files_for


@dataclass(frozen=True)
class Setting:
    """One key with the value that holds.

    Parameters
    ----------
    key : Key
        What it is.
    value : Value or None
        The value; None where nothing is stated.
    source : Source
        Where it comes from.
    place : str
        Where exactly, in words.
    """

    key: Key
    value: Value | None
    source: Source
    place: str

    @property
    def shown(self) -> str:
        """The value with its unit; ``not stated`` where there is none."""
        return "not stated" if self.value is None else self.key.shown(self.value)


@dataclass(frozen=True)
class Settings:
    """All that is stated for one model.

    Parameters
    ----------
    options : Stated
        By options.
    files : tuple of Stated
        By files, the nearest first.
    row : Stated or None
        By the row, once it is known.
    """

    options: Stated
    files: tuple[Stated, ...] = ()
    row: Stated | None = None

    @classmethod
    def for_model(
        cls, start: Path, called: Callable[[str], str] = str, **texts: object
    ) -> Settings:
        """Read what holds for a model or a folder.

        Parameters
        ----------
        start : Path
            A model, or a folder.
        called, **texts
            As of :meth:`Stated.by_options`.

        Returns
        -------
        Settings
            Without a row yet; :meth:`with_row` adds it.

        Raises
        ------
        FileError, SettingError
            For a settings file or a value that cannot be.
        """
        return cls(Stated.by_options(called, **texts), files_for(start))

    def with_row(self, row: Stated) -> Settings:
        """Return the same with what a row states.

        Parameters
        ----------
        row : Stated
            As :func:`row_states` gives it; what it states as a lower limit is left out where more
            is asked for already.
        """
        values = {
            name: value
            for name, value in row.values.items()
            if name not in row.at_least or not self._asks_for_more(name, value)
        }
        return replace(self, row=replace(row, values=values))

    @property
    def without_row(self) -> Settings:
        """The same without a row."""
        return replace(self, row=None)

    def _asks_for_more(self, name: str, value: Value) -> bool:
        there = _first((self.options, *self.files), name)
        return isinstance(there, int | float) and isinstance(value, int | float) and there >= value

    def without(self, *names: str) -> Settings:
        """Return the same with some keys left out of the files.

        Parameters
        ----------
        *names : str
            Full names of the keys.
        """

        def less(stated: Stated) -> Stated:
            kept = {name: value for name, value in stated.values.items() if name not in names}
            return replace(stated, values=kept)

        return replace(self, files=tuple(less(stated) for stated in self.files))

    def __getitem__(self, name: str) -> Setting:
        """Setting of a key, by its full name."""
        key = KEYS[name]
        for number, stated in enumerate(self._sources):
            if key.instead_of in stated.values:
                break
            if name in stated.values and self._of_another(key, number) is None:
                value = stated.values[name]
                return Setting(key, value, stated.source, stated.place(name))
        return self._built_in(key)

    def number(self, name: str) -> float | None:
        """Value of a key that is a number, if one holds."""
        value = self[name].value
        return float(value) if isinstance(value, int | float) else None

    def text(self, name: str) -> str | None:
        """Value of a key that is a text, sizes or a file, if one holds."""
        value = self[name].value
        return None if value is None else str(value)

    def all(self) -> tuple[Setting, ...]:
        """Every key with what holds, in the order of the file."""
        return tuple(self[name] for name in KEYS)

    @property
    def contradictions(self) -> tuple[str, ...]:
        """Where the row was measured with something else than an option or a file states."""
        if self.row is None:
            return ()
        said = []
        for name, measured in self.row.values.items():
            key = KEYS[name]
            if self._of_another(key, self._sources.index(self.row)) is not None:
                continue
            for stated in (self.options, *self.files):
                value = stated.values.get(name)
                if value is None or _same(value, measured):
                    continue
                holds = "the option holds" if stated is self.options else "the row holds"
                said.append(
                    f"{key.short.replace('_', ' ')} is {key.shown(measured)} in {self.row.name} "
                    f"and {key.shown(value)} in {stated.place(name)}: {holds}"
                )
        return tuple(said)

    @property
    def left_out(self) -> tuple[str, ...]:
        """What files state and what does not hold because it belongs to something else."""
        said: dict[tuple[str, str, str], list[str]] = {}
        for number, stated in enumerate(self._sources):
            for name, value in stated.values.items():
                key = KEYS[name]
                if of := self._of_another(key, number):
                    what = f"{key.short.replace('_', ' ')} {key.shown(value)}"
                    # A row has no lines to look at, so all of it is said at once.
                    line = "" if stated is self.row else name
                    said.setdefault((stated.place(name), of.short, line), []).append(what)
        return tuple(
            f"{', '.join(what)} of {place} {'is' if len(what) == 1 else 'are'} left out: "
            f"{'it belongs' if len(what) == 1 else 'they belong'} to another "
            f"{of.replace('_', ' ')}{'' if line else _STAYS}"
            for (place, of, line), what in said.items()
        )

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is worth a look: contradictions, and what is left out."""
        return (*self.contradictions, *self.left_out)

    @property
    def paths(self) -> tuple[Path, ...]:
        """Files that it was read from, the calibration table among them."""
        table = self["calibration.table"].value
        return (*(Path(f.name) for f in self.files), *([table] if isinstance(table, Path) else []))

    def as_dicts(self) -> list[dict[str, Any]]:
        """Plain values for JSON: key, value, unit, source and place of each."""
        return [
            {
                "key": setting.key.name,
                "value": str(setting.value) if isinstance(setting.value, Path) else setting.value,
                "unit": setting.key.unit,
                "source": setting.source.value,
                "place": setting.place,
            }
            for setting in self.all()
        ]

    @property
    def _sources(self) -> tuple[Stated, ...]:
        return tuple(s for s in (self.options, self.row, *self.files) if s is not None)

    def _of_another(self, key: Key, number: int) -> Key | None:
        """Key to whose value, which does not hold, belongs what one source states of a key."""
        name = self._sources[number].ties.get(key.name, key.of)
        if not name:
            return None
        holds = _first(self._sources, name)
        there = _first(self._sources[number:], name)
        if holds is not None and there is not None and not _same(holds, there):
            return KEYS[name]
        return self._of_another(KEYS[name], number)

    def _built_in(self, key: Key) -> Setting:
        nozzle = {
            "printer.bead_width": BEAD_PER_NOZZLE,
            "printer.layer_height": LAYER_PER_NOZZLE,
        }
        if key.name in nozzle:
            factor = nozzle[key.name]
            value = factor * (self.number("printer.nozzle") or 0.0)
            return Setting(key, value, Source.BUILT_IN, f"{factor:g} nozzles")
        return Setting(key, BUILT_IN.values.get(key.name), Source.BUILT_IN, "")


_STAYS: Final = "; its offsets of outline, bores and first layer are used all the same"


def _first(sources: Iterable[Stated], name: str) -> Value | None:
    return next((s.values[name] for s in sources if name in s.values), None)


def _same(a: Value, b: Value) -> bool:
    if isinstance(a, int | float) and isinstance(b, int | float):
        return abs(a - b) <= 1e-9 * max(abs(a), abs(b))
    return a == b
