"""A fit's files: the table with its new row, JSON and HTML report, written all or none."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterable
from pathlib import Path

from shrinkrule.calibration import CalibrationRow, FitResult, table_bytes, updated_table
from shrinkrule.files import OutputSet, held, require_folder, require_place
from shrinkrule.files.plain import real_path
from shrinkrule.report.fit.html import fit_html
from shrinkrule.report.fit.plain import fit_dict


def fit_outputs(
    fit: FitResult,
    row: CalibrationRow,
    folder: Path,
    table: Path | None,
    inputs: Iterable[Path] = (),
) -> dict[str, Path]:
    """Write the reports, and the row into its table; return the paths by kind.

    Parameters
    ----------
    fit : FitResult
        What to report.
    row : CalibrationRow
        Its row.
    folder : Path
        Where the reports go; it is made if it is not there.
    table : Path or None
        Table to add the row to; a new one if it does not exist.
    inputs : iterable of Path
        Files that must not be overwritten.

    Returns
    -------
    dict of str to Path
        ``table`` if one was given, ``json`` and ``html``.

    Raises
    ------
    ShrinkruleError
        If the table cannot be read or a file not be written; then none is changed.
    """
    require_place(folder)
    stem = re.sub(r"[^\w.-]+", "_", row.name).strip("_.") or "row"
    files = {"json": folder / f"{stem}.fit.json", "html": folder / f"{stem}.fit.html"}
    outputs = OutputSet(inputs)
    if table is not None:
        files = {"table": table, **files}
    plain = json.dumps(fit_dict(fit, row, files), indent=2, allow_nan=False) + "\n"
    outputs.add(files["json"], plain.encode())
    outputs.add(files["html"], fit_html(fit, row, files).encode())
    if table is None:
        outputs.write()
    else:
        write_with_row(outputs, table, row)
    return files


def write_with_row(outputs: OutputSet, table: Path, row: CalibrationRow) -> None:
    """Write files together with a table that is read again while no other run may change it.

    Parameters
    ----------
    outputs : OutputSet
        The other files.
    table : Path
        Table to add the row to; a new one if it does not exist.
    row : CalibrationRow
        The row.

    Raises
    ------
    ShrinkruleError
        If the table cannot be read or held, or a file not be written; or if another program
        changed the table in between: then both versions are kept.
    """
    # A link is followed, so that runs which name the table differently hold the same lock.
    path = real_path(table)
    today = dt.datetime.now().astimezone().date().isoformat()
    require_folder(path.parent)
    with held(path):
        before = table_bytes(path)
        outputs.add_changed(path, updated_table(before, table.name, row, today), before)
        outputs.write()
