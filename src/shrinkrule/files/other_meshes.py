"""Facets out of OBJ, PLY and OFF: read by trimesh, with our own checks before and after.

trimesh is given bytes alone, so that no material or picture that a file names is looked for.
What a head promises is held against the size of the file first, and what was read against what
was promised: a general reader lets a file that is cut short pass as a smaller mesh.
"""

from __future__ import annotations

import io
import re
import struct
import warnings
from typing import Any, Final

import numpy as np

from shrinkrule.errors import FileError
from shrinkrule.files.stl_text import AGAIN
from shrinkrule.files.unpack import require_memory
from shrinkrule.numerics.arrays import Floats

_HEAD_BYTES: Final = 1 << 16
_LEAST_BYTES: Final = 4
"""Bytes that a vertex or a facet takes at least, in any of the three."""

_PLY_ELEMENT: Final = re.compile(rb"^element[ \t]+(\S+)[ \t]+(\d{1,18})[ \t]*\r?$", re.MULTILINE)
_OFF_HEAD: Final = re.compile(rb"\s*(?:#[^\n]*\n\s*)*C?OFF\b")
_OFF_COUNTS: Final = re.compile(rb"C?OFF\s+(?:#[^\n]*\n\s*)*(\d{1,18})[ \t]+(\d{1,18})")
_OBJ_FACE: Final = re.compile(rb"^[ \t]*f[ \t]+([^\n\r]*)", re.MULTILINE)
_OBJ_VERTEX: Final = re.compile(rb"^[ \t]*v[ \t]+\S", re.MULTILINE)

_READING_ERRORS: Final = (
    ValueError,
    LookupError,
    TypeError,
    AttributeError,
    ArithmeticError,
    NameError,
    NotImplementedError,
    struct.error,
    EOFError,
)
"""What a general reader raises over a damaged file."""


def kind_of_mesh(data: bytes, suffix: str) -> str:
    """Tell whether a file is one of these.

    Parameters
    ----------
    data : bytes
        The whole file.
    suffix : str
        Ending of its name with the dot, lower case: an OBJ has no mark of its own.

    Returns
    -------
    str
        ``PLY``, ``OFF``, ``OBJ``, or nothing.
    """
    if data[:4] in (b"ply\n", b"ply\r"):
        return "PLY"
    if _OFF_HEAD.match(data[:_HEAD_BYTES]):
        return "OFF"
    return "OBJ" if suffix == ".obj" else ""


def facets_of_mesh(data: bytes, kind: str, where: str) -> tuple[Floats, tuple[str, ...]]:
    """Corner points of all facets in an OBJ, PLY or OFF.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : str
        As from :func:`kind_of_mesh`.
    where : str
        Name of the file, for messages.

    Returns
    -------
    corners : (m, 3, 3) float64
        In the file's unit.
    notes : tuple of str
        What the maker should know of how it was read.

    Raises
    ------
    FileError
        For a file that is cut short or damaged, holds no facet, names a vertex that is not
        there, or has a coordinate that is not a finite number.
    """
    vertices, faces = _promised(data, kind, where)
    require_memory(faces, where)
    try:
        mesh = _loaded(data, kind)
        points = np.asarray(mesh["vertices"], dtype=np.float64)
        facets = np.asarray(mesh["faces"])
    except _READING_ERRORS as error:
        raise FileError(f"this {kind} is cut short or damaged", where=where, hint=AGAIN) from error
    if facets.ndim != 2 or facets.shape[1] != 3 or facets.dtype.kind not in "iu" or not len(facets):
        raise FileError("the file holds no facet", where=where, hint=AGAIN)
    if len(facets) < faces or (vertices is not None and len(points) < vertices):
        raise FileError(
            f"the file is cut short or damaged: of {faces} faces {len(facets)} were read",
            where=where,
            hint=AGAIN,
        )
    if points.ndim != 2 or points.shape[1] != 3 or facets.min() < 0 or facets.max() >= len(points):
        raise FileError(f"a facet of this {kind} names a vertex that is not there", where=where)
    corners: Floats = points[facets.astype(np.int64)]
    if not np.isfinite(corners).all():
        bad = int(np.argmax(~np.isfinite(corners).all(axis=(1, 2))))
        raise FileError(
            f"facet {bad + 1} has a coordinate that is not a finite number", where=where, hint=AGAIN
        )
    more = len(facets) - faces
    note = f"faces of more than three corners were split into triangles ({more} more facets)"
    return corners, (note,) if more else ()


def _promised(data: bytes, kind: str, where: str) -> tuple[int | None, int]:
    """Vertices, where that is said, and faces that a file promises; refused if it cannot be."""
    vertices: int | None = None
    if kind == "OBJ":
        if not _OBJ_VERTEX.search(data):
            raise FileError("this is no OBJ with vertices", where=where, hint=AGAIN)
        faces = sum(1 for _ in _OBJ_FACE.finditer(data))
        if not faces:
            raise FileError("the file holds no facet", where=where, hint=AGAIN)
        return None, faces
    if kind == "PLY":
        head = data.partition(b"end_header")[0][:_HEAD_BYTES]
        found = {name: int(count) for name, count in _PLY_ELEMENT.findall(head)}
        vertices, faces = found.get(b"vertex", 0), found.get(b"face", 0)
    else:
        counts = _OFF_COUNTS.search(data[:_HEAD_BYTES])
        vertices, faces = (int(counts[1]), int(counts[2])) if counts else (0, 0)
    if vertices == 0 or faces == 0:
        raise FileError("the file holds no facet", where=where, hint=AGAIN)
    if _LEAST_BYTES * (vertices + faces) > len(data):
        raise FileError(
            f"the file is cut short or damaged: its head promises {vertices} vertices and {faces} "
            f"faces, which do not fit into {len(data)} bytes",
            where=where,
            hint=AGAIN,
        )
    return vertices, faces


def _loaded(data: bytes, kind: str) -> dict[str, Any]:
    """What trimesh makes of the bytes."""
    if kind != "PLY":
        # Names and comments in any encoding; what counts is ASCII.
        data = data.decode("ascii", "replace").encode("ascii", "replace")
    stream = io.BytesIO(data)
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if kind == "PLY":
            from trimesh.exchange.ply import load_ply

            return dict(load_ply(stream, fix_texture=False))
        if kind == "OFF":
            from trimesh.exchange.off import load_off

            return dict(load_off(stream))
        from trimesh.exchange.obj import load_obj

        made = load_obj(stream, skip_materials=True, group_material=True, maintain_order=True)
        # Older versions give a single mesh as it is.
        parts = list(made["geometry"].values()) if "geometry" in made else [made]
        starts = np.cumsum([0, *(len(part["vertices"]) for part in parts)])
        return {
            "vertices": np.vstack([part["vertices"] for part in parts]),
            "faces": np.vstack(
                [np.asarray(part["faces"]) + at for part, at in zip(parts, starts, strict=False)]
            ),
        }
