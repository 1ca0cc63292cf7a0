"""``shrinkrule.toml``: where it is looked for, and what stands in it, or which line is wrong."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path
from typing import Final

from shrinkrule.errors import FileError, SettingError
from shrinkrule.files.plain import plain_bytes
from shrinkrule.settings.key import Value
from shrinkrule.settings.keys import KEYS, nearest_key, nearest_section
from shrinkrule.settings.stated import Source, Stated

FILE_NAME: Final = "shrinkrule.toml"
"""Name of a settings file, wherever it lies."""

LARGEST_MB: Final = 1
"""A settings file of more is some other file."""

_HEADER: Final = re.compile(r"^\s*\[\s*([^\[\]]+?)\s*\]")
_KEY: Final = re.compile(r"^\s*([\w.\"'\s-]+?)\s*=")
_AT_LINE: Final = re.compile(r"^(.*?) \(at (?:line (\d+), column \d+|end of document)\)$")


def user_file() -> Path:
    """Where the user's own settings file lies, on this system.

    Returns
    -------
    Path
        The file, whether it exists or not.
    """
    from platformdirs import user_config_path

    return user_config_path("shrinkrule", appauthor=False) / FILE_NAME


def files_for(start: Path) -> tuple[Stated, ...]:
    """Settings files that hold for a model or a folder.

    Parameters
    ----------
    start : Path
        A model, or a folder.

    Returns
    -------
    tuple of Stated
        That beside it or in the nearest folder above it, then the user's, where they exist.

    Raises
    ------
    FileError, SettingError
        As :func:`read_settings`.
    """
    # Links are not followed: the folder is the one that the maker named.
    whole = Path(os.path.abspath(start))  # noqa: PTH100
    first = whole if whole.is_dir() else whole.parent
    near = next((f / FILE_NAME for f in (first, *first.parents) if _lies_in(f)), None)
    own = user_file()
    found = [] if near is None else [read_settings(near, Source.FILE)]
    if _lies_in(own.parent) and own != near:
        found.append(read_settings(own, Source.USER))
    return tuple(found)


def _lies_in(folder: Path) -> bool:
    """Whether a settings file lies in a folder; none does in one that may not be entered.

    The home of another user is such a folder, where rights were changed but not the home.
    """
    try:
        return (folder / FILE_NAME).is_file()
    except OSError:
        return False


def read_settings(path: Path, source: Source = Source.FILE) -> Stated:
    """Read a settings file.

    Parameters
    ----------
    path : Path
        The file.
    source : Source
        Whether it is that beside the model or the user's own.

    Returns
    -------
    Stated
        What it states. Names of files in it start from its own folder.

    Raises
    ------
    FileError
        If it cannot be read or is no text.
    SettingError
        For what is no TOML, a key that does not exist, or a value that cannot be; with its line.
    """
    text = _text(path)
    try:
        read = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        told = _AT_LINE.match(str(error))
        what, line = (told[1], told[2]) if told else (str(error), None)
        raise SettingError(
            f"cannot be read as TOML ({what[:1].lower()}{what[1:]})",
            where=f"{path}, line {line}" if line else f"{path}, at its end",
            hint='write key = value, texts in quotes, as nozzle = 0.6 or row = "bronze 3"',
        ) from error
    lines = _lines(text)
    values: dict[str, Value] = {}
    known = {key.section for key in KEYS.values()}
    for section, inside in read.items():
        if section not in known or not isinstance(inside, dict):
            raise _unknown_section(section, inside, _where(path, lines, section))
        for short, stated in inside.items():
            name = f"{section}.{short}"
            where = _where(path, lines, name, section)
            if name not in KEYS:
                raise _unknown_key(section, short, where)
            values[name] = KEYS[name].parse(stated, where, path.parent)
    return Stated(source, str(path), values, {n: lines[n] for n in values if n in lines})


def _text(path: Path) -> str:
    try:
        return plain_bytes(path, LARGEST_MB, "settings file").decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(
            "this is no text in UTF-8", where=str(path), hint="save it again as UTF-8"
        ) from error


def _lines(text: str) -> dict[str, int]:
    """Line of each section and of each key, by its full name."""
    found: dict[str, int] = {}
    section = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            section = _bare(header[1])
            found.setdefault(section, number)
        elif key := _KEY.match(line):
            name = _bare(key[1])
            found.setdefault(f"{section}.{name}" if section else name, number)
            found.setdefault(section or name.partition(".")[0], number)
    return found


def _bare(name: str) -> str:
    return ".".join(part.strip(" \t\"'") for part in name.split("."))


def _where(path: Path, lines: dict[str, int], *names: str) -> str:
    line = next((lines[name] for name in names if name in lines), None)
    return str(path) if line is None else f"{path}, line {line}"


def _unknown_section(section: str, inside: object, where: str) -> SettingError:
    if isinstance(inside, dict):
        near = nearest_section(section)
        names = ", ".join(f"[{name}]" for name in dict.fromkeys(k.section for k in KEYS.values()))
        hint = f"write [{near}]" if near else f"the sections are {names}"
        return SettingError(f"there is no section [{section}]", where=where, hint=hint)
    key = nearest_key("", section)
    hint = f"write {key.short} below [{key.section}]" if key else "every key stands in a section"
    return SettingError(f"the key {section!r} stands in no section", where=where, hint=hint)


def _unknown_key(section: str, short: str, where: str) -> SettingError:
    key = nearest_key(section, short)
    if key is None:
        names = ", ".join(k.short for k in KEYS.values() if k.section == section)
        hint = f"the keys of [{section}] are {names}"
    elif key.section == section:
        hint = f"write {key.short}"
    else:
        hint = f"write {key.short} below [{key.section}]"
    return SettingError(f"[{section}] has no key {short!r}", where=where, hint=hint)
