"""A commented ``shrinkrule.toml``: what is stated stands in it, all else as a comment."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Final

from shrinkrule.settings.holding import Setting, Settings
from shrinkrule.settings.stated import Source

_HEAD: Final = (
    "# What shrinkrule is told once. It holds for all models in this folder and below it,\n"
    "# unless an option, the row of the calibration table (which was measured) or a file nearer\n"
    "# to the model states the same key. Take away the # before a key to state it.\n"
    '# Lengths are mm, or a text with a unit: nozzle = 0.6 or nozzle = "0.024 in".\n'
)


def settings_text(settings: Settings, folder: Path) -> str:
    """Write what holds as a settings file.

    Parameters
    ----------
    settings : Settings
        What is stated by options and files is written as it stands; what is built in, or not
        stated at all, becomes a comment with an example.
    folder : Path
        Folder of the file, from which names of files start.

    Returns
    -------
    str
        TOML with a comment for each key.
    """
    lines = [_HEAD]
    section = ""
    for setting in settings.all():
        key = setting.key
        if key.section != section:
            section = key.section
            lines.append(f"\n[{section}]\n")
        lines.append(f"# {key.meaning}\n")
        if setting.value is None or setting.source is Source.BUILT_IN:
            lines.append(f"# {key.short} = {key.example}\n")
        else:
            lines.append(f"{key.short} = {_toml(setting, folder)}\n")
    return "".join(lines)


def _toml(setting: Setting, folder: Path) -> str:
    value = setting.value
    if isinstance(value, Path):
        value = Path(os.path.relpath(value, folder)).as_posix()
    # A JSON text is a TOML text, with the same escapes.
    return json.dumps(value, ensure_ascii=False)
