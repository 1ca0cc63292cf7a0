"""Facets of a model file of any kind, recognised by its content and not by its name."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shrinkrule.errors import FileError
from shrinkrule.files.other_meshes import facets_of_mesh, kind_of_mesh
from shrinkrule.files.stl import facets_from_stl
from shrinkrule.files.stl_text import AGAIN
from shrinkrule.files.threemf.read import facets_from_3mf
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
    objects : tuple of str
        Names of the objects that it places, where it has any.
    object_boxes : tuple of tuple of 6 float
        Box of each of those as it is placed, lowest corner first, mm.
    """

    corners: NDArray[np.float32] | Floats
    file_format: str
    unit: str = ""
    notes: tuple[str, ...] = ()
    green: bool = False
    objects: tuple[str, ...] = ()
    object_boxes: tuple[tuple[float, ...], ...] = ()


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
    if not data:
        raise FileError("the file is empty", where=path.name, hint=AGAIN)
    if data[:2] == b"PK" or path.suffix.lower() == ".3mf":
        placed = facets_from_3mf(data, path.name)
        green = placed.description.startswith(GREEN_MARK)
        return ModelFile(
            placed.corners,
            "3MF",
            placed.unit,
            green=green,
            objects=placed.objects,
            object_boxes=placed.object_boxes,
        )
    if kind := kind_of_mesh(data, path.suffix.lower().removesuffix(".gz")):
        corners, notes = facets_of_mesh(data, kind, path.name)
        return ModelFile(corners, kind, notes=notes)
    green = data.startswith(GREEN_MARK.encode())
    single, file_format, notes = facets_from_stl(data, path.name)
    return ModelFile(single, file_format, notes=notes, green=green)
