"""STL bytes out: binary, float32, with a header that tells what the file is."""

from __future__ import annotations

from typing import Final

import numpy as np
import trimesh
from stl.mesh import Mesh as StlMesh

HEADER_TEXT_BYTES: Final = 80


def stl_bytes(mesh: trimesh.Trimesh, header: str) -> bytes:
    """Binary STL of a mesh.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        In the unit the file is meant to be read in, which is mm.
    header : str
        ASCII text, cut at 80 bytes. It never begins with the word ``solid``, which
        some readers take for the mark of a text file.

    Examples
    --------
    >>> len(stl_bytes(trimesh.creation.box(), "shrinkrule: a unit cube, mm"))
    684
    """
    corners = np.asarray(mesh.vertices, dtype=np.float64)[np.asarray(mesh.faces)]
    records = np.zeros(len(corners), dtype=StlMesh.dtype)
    records["vectors"] = corners
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    records["normals"] = np.divide(normals, lengths, out=normals, where=lengths > 0)
    text = header.encode("ascii", "replace")[:HEADER_TEXT_BYTES]
    if text.lstrip().lower().startswith(b"solid"):
        text = b"STL " + text[: HEADER_TEXT_BYTES - 4]
    count = np.uint32(len(records)).tobytes()
    return text.ljust(HEADER_TEXT_BYTES, b" ") + count + records.tobytes()
