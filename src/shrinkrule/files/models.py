"""Facets of a model file of any kind, told by what is in it and not by its name."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shrinkrule.files.stl import facets_from_stl
from shrinkrule.files.threemf import facets_from_3mf
from shrinkrule.files.unpack import file_bytes
from shrinkrule.numerics.arrays import Floats

GREEN_MARK: Final = "shrinkrule green part of "
"""How the header of a green part of ours begins."""


@dataclass(frozen=True)
class ModelFile:
    """What a model file holds.

    Parameters
    ----------
    corners : (m, 3, 3) float32 or float64
        Of all facets, in the file's unit; in mm where it states one.
    file_format : str
        What the file is.
    unit : str
        The unit that it states; empty where the format has none.
    notes : tuple of str
        What was passed over.
    green : bool
        Whether it says that it is a green part made here.
    sha256 : str
        Checksum of the file as it lies on the disk.
    """

    corners: NDArray[np.float32] | Floats
    file_format: str
    unit: str = ""
    notes: tuple[str, ...] = ()
    green: bool = False
    sha256: str = ""


def read_model_file(path: Path) -> ModelFile:
    """Read the facets of a model file.

    Parameters
    ----------
    path : Path
        File to read; it is never written to.

    Returns
    -------
    ModelFile
        What it holds.

    Raises
    ------
    FileError
        For a file that is missing, a folder, empty, damaged or no model.
    """
    data = file_bytes(path)
    with path.open("rb") as stream:
        checksum = hashlib.file_digest(stream, "sha256").hexdigest()
    if data[:2] == b"PK" or path.suffix.lower() == ".3mf":
        corners, unit = facets_from_3mf(data, path.name)
        return ModelFile(corners, "3MF", unit, sha256=checksum)
    green = data.startswith(GREEN_MARK.encode())
    single, file_format, notes = facets_from_stl(data, path.name)
    return ModelFile(single, file_format, notes=notes, green=green, sha256=checksum)
