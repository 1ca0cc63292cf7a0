"""The traveler's files: the page for the bench, and the sheet to type into."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from shrinkrule.files import OutputSet, require_place
from shrinkrule.files.output import require_plain_name
from shrinkrule.numerics.progress import Progress, silent
from shrinkrule.sheet import LOAD_COLUMNS, sheet_csv
from shrinkrule.traveler.lines import sheet_lines
from shrinkrule.traveler.load import Load
from shrinkrule.traveler.page import traveler_html
from shrinkrule.traveler.pictures import part_pictures


def traveler_paths(folder: Path, name: str) -> dict[str, Path]:
    """Names of the files by kind: ``page`` and ``sheet``.

    Parameters
    ----------
    folder : Path
        Where they go.
    name : str
        Name of the load.

    Returns
    -------
    dict
        Path of each file, by kind.

    Raises
    ------
    SettingError
        For a name that is no plain file name.
    """
    require_plain_name(name, "name")
    return {"page": folder / f"{name}.traveler.html", "sheet": folder / f"{name}.load.csv"}


def write_traveler(
    load: Load, paths: dict[str, Path], inputs: Sequence[Path], progress: Progress = silent
) -> None:
    """Draw the parts and write page and sheet, both or none.

    Parameters
    ----------
    load : Load
        Parts that are fired together.
    paths : dict
        As from :func:`traveler_paths`.
    inputs : sequence of Path
        Files that must not be overwritten.
    progress : callable
        Called with the stage and the share done, 0 to 1.

    Raises
    ------
    ShrinkruleError
        If a green file cannot be read or a file not be written; then none is changed.
    """
    require_place(paths["page"].parent)
    pictures = []
    for number, part in enumerate(load.parts):
        progress("drawing the parts", number / len(load.parts))
        pictures.append(part_pictures(part))
    outputs = OutputSet([*inputs, *(part.green for part in load.parts)])
    outputs.add(paths["sheet"], sheet_csv(sheet_lines(load), LOAD_COLUMNS).encode())
    outputs.add(paths["page"], traveler_html(load, pictures, paths["sheet"].name).encode())
    outputs.write()
