"""STL bytes out: binary, float32, with a header that tells what the file is."""

from __future__ import annotations

from typing import Final

import numpy as np
import trimesh
from numpy.typing import NDArray
from stl.mesh import Mesh as StlMesh

HEADER_TEXT_BYTES: Final = 80

FACETS_AT_ONCE: Final = 1 << 15
"""Few enough for the steps between to stay in the processor's caches."""


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
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    facets = np.asarray(mesh.faces)
    records = np.zeros(len(facets), dtype=StlMesh.dtype)
    for start in range(0, len(facets), FACETS_AT_ONCE):
        _fill(records[start : start + FACETS_AT_ONCE], vertices, facets[start:][:FACETS_AT_ONCE])
    text = header.encode("ascii", "replace")[:HEADER_TEXT_BYTES]
    if text.lstrip().lower().startswith(b"solid"):
        text = b"STL " + text[: HEADER_TEXT_BYTES - 4]
    count = np.uint32(len(records)).tobytes()
    return b"".join([text.ljust(HEADER_TEXT_BYTES, b" "), count, records.data])


def _fill(
    records: NDArray[np.void], vertices: NDArray[np.float64], facets: NDArray[np.int64]
) -> None:
    """Put corners and unit normals of facets into STL records; no normal where there is no area."""
    # One row a coordinate: whole-array steps run over rows of three many times slower.
    a, b, c = (vertices[facets[:, k]].T.copy() for k in range(3))
    for k, corner in enumerate((a, b, c)):
        records["vectors"][:, k] = corner.T
    u, v = b - a, c - a
    normals = np.stack(
        [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]]
    )
    lengths = np.sqrt((normals**2).sum(axis=0))
    records["normals"] = np.divide(normals, lengths, out=normals, where=lengths > 0).T
