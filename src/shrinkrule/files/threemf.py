"""Facets out of a 3MF package, in mm.

trimesh reads the package and places its build items; the unit is read here from
the model's own attribute (3MF Core Specification, section 3.4: default millimetre),
and a package without a placed solid is refused instead of coming back empty.
"""

from __future__ import annotations

import io
import zipfile
from typing import Final

import numpy as np
import trimesh
from lxml import etree

from shrinkrule.errors import FileError
from shrinkrule.numerics.arrays import Floats

_UNITS: Final = {
    "micron": 1e-3,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}
_AGAIN: Final = "export the model again as 3MF or STL"
MAX_UNPACKED_BYTES: Final = 2 * 1024**3
"""A package that unpacks to more is refused: it would not fit beside its mesh in memory."""


def facets_from_3mf(data: bytes, where: str) -> tuple[Floats, str]:
    """Corner points, in mm, of all facets that a 3MF package places.

    Parameters
    ----------
    data : bytes
        The whole file.
    where : str
        Name of the file, for messages.

    Returns
    -------
    corners : (m, 3, 3) float64
        In mm.
    unit : str
        The unit that the package states.

    Raises
    ------
    FileError
        For a file that is no 3MF package, or one that places no solid.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            if sum(entry.file_size for entry in package.infolist()) > MAX_UNPACKED_BYTES:
                raise FileError("this package unpacks to more than 2 GiB", where=where, hint=_AGAIN)
            names = [n for n in package.namelist() if n.lower().endswith("3d/3dmodel.model")]
            if not names:
                raise FileError("this package holds no 3D model", where=where, hint=_AGAIN)
            unit = _stated_unit(package.read(names[0]))
        scene = trimesh.load(io.BytesIO(data), file_type="3mf", force="scene", process=False)
        mesh = scene.to_mesh()
    except (zipfile.BadZipFile, etree.XMLSyntaxError, KeyError, ValueError, IndexError) as error:
        raise FileError("this is no readable 3MF package", where=where, hint=_AGAIN) from error
    if unit not in _UNITS:
        raise FileError(f"unknown 3MF unit {unit!r}", where=where, hint=_AGAIN)
    corners = np.asarray(mesh.triangles, dtype=np.float64) * _UNITS[unit]
    if len(corners) == 0:
        raise FileError("the package places no solid", where=where, hint=_AGAIN)
    if not np.isfinite(corners).all():
        raise FileError("a coordinate is not a finite number", where=where, hint=_AGAIN)
    return corners, unit


def _stated_unit(model: bytes) -> str:
    for _, root in etree.iterparse(
        io.BytesIO(model), events=("start",), resolve_entities=False, no_network=True
    ):
        return str(root.get("unit", "millimeter"))
    return "millimeter"
