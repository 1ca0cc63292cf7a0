"""The main job's files: green STL, JSON and HTML report, written together or not at all."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from shrinkrule.errors import FileError
from shrinkrule.job import JobResult
from shrinkrule.mesh import OutputSet, stl_bytes
from shrinkrule.report.html import job_html
from shrinkrule.report.plain import job_dict


def job_outputs(result: JobResult, folder: Path, inputs: Iterable[Path] = ()) -> dict[str, Path]:
    """Write the green STL and both reports; return their paths by kind.

    Parameters
    ----------
    result : JobResult
        What to write.
    folder : Path
        Where to; it must exist.
    inputs : iterable of Path
        Files that must not be overwritten.

    Raises
    ------
    FileError
        If a file cannot be written; then none is changed.
    """
    if not folder.is_dir():
        raise FileError("no such folder", where=str(folder), mend="make it, or name another")
    stem = result.part.source.stem
    files = {
        "green_stl": folder / f"{stem}.green.stl",
        "json": folder / f"{stem}.report.json",
        "html": folder / f"{stem}.report.html",
    }
    outputs = OutputSet(inputs)
    factors = result.green.factors
    header = f"shrinkrule green part of {stem[:24]}, mm, XY x {factors.xy:.5f}, Z x {factors.z:.5f}"
    outputs.add(files["green_stl"], stl_bytes(result.to_slice, header))
    plain = json.dumps(job_dict(result, files), indent=2, allow_nan=False) + "\n"
    outputs.add(files["json"], plain.encode())
    outputs.add(files["html"], job_html(result, files).encode())
    outputs.write()
    return files
