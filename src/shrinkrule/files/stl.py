"""STL in and out: facets of a file, or a message that says why not; and the bytes of a mesh.

numpy-stl knows the binary records; the checks around it are ours, because a general
reader lets a truncated, padded or foreign file pass as a smaller or empty mesh.
Binary or ASCII is decided by size first: a binary file is 84 + 50 n bytes, and
many begin with the word "solid" that is meant to mark an ASCII one. Where the size is
another, the file is read only if its facets prove it: they close a surface.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import trimesh
from numpy.typing import NDArray
from stl.mesh import Mesh as StlMesh

from shrinkrule.errors import FileError
from shrinkrule.files.stl_text import AGAIN, as_plain_text, facets_from_text
from shrinkrule.files.unpack import require_memory
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.hashing import number_equal

HEADER_BYTES: Final = 84
FACET_BYTES: Final = 50
HEADER_TEXT_BYTES: Final = 80

NO_COUNT: Final = (0, 0xFFFFFFFF)
"""Counts that writers leave behind when they never came back to fill it in."""

LARGEST_COORDINATE: Final = 1e9
"""In any unit; a stray record read as float32 is soon beyond."""

TYPICAL_TEXT_BYTES: Final = 160
"""Fewer than a facet of a text STL usually takes."""

ONE_BYTE: Final = "1 byte after the last facet was"

FACETS_AT_ONCE: Final = 1 << 15
"""Few enough for the steps between to stay in the processor's caches."""


def facets_from_stl(data: bytes, where: str) -> tuple[NDArray[np.float32], str, tuple[str, ...]]:
    """Corner points of all facets in an STL file.

    Parameters
    ----------
    data : bytes
        The whole file.
    where : str
        Name of the file, for messages.

    Returns
    -------
    corners : (m, 3, 3) float32
        In the file's unit.
    file_format : str
        ``binary STL`` or ``ASCII STL``.
    notes : tuple of str
        What was passed over.

    Raises
    ------
    FileError
        For an empty, truncated or foreign file, one with no facet, or one with a
        coordinate that is not a finite number.
    """
    if not data:
        raise FileError("the file is empty", where=where, hint=AGAIN)
    notes: tuple[str, ...] = ()
    declared = int.from_bytes(data[80:HEADER_BYTES], "little") if len(data) >= HEADER_BYTES else 0
    size = HEADER_BYTES + FACET_BYTES * declared
    if len(data) >= HEADER_BYTES and len(data) == size:
        require_memory(declared, where)
        corners, file_format = _binary(data), "binary STL"
    elif (text := as_plain_text(data)) is not None:
        if not text[: 1 << 16].lstrip().lower().startswith(b"solid"):
            raise FileError("this is text, but not an STL", where=where, hint=AGAIN)
        require_memory(len(text) // TYPICAL_TEXT_BYTES, where)
        (corners, notes), file_format = facets_from_text(text, where), "ASCII STL"
    else:
        require_memory(len(data) // FACET_BYTES, where)
        (corners, notes), file_format = _of_another_size(data, declared, size, where), "binary STL"
    if len(corners) == 0:
        raise FileError("the file holds no facet", where=where, hint=AGAIN)
    if not np.isfinite(corners).all():
        bad = ~np.isfinite(corners).all(axis=(1, 2))
        raise FileError(
            f"facet {int(np.argmax(bad)) + 1} has a coordinate that is not a finite number "
            f"({int(bad.sum())} such of {len(corners)})",
            where=where,
            hint=AGAIN,
        )
    return corners, file_format, notes


def _wrong_size(actual: int, declared: int, expected: int, where: str) -> FileError:
    if actual < HEADER_BYTES:
        what = f"this is no STL: {actual} bytes are too few for one"
    elif actual < expected:
        there = (actual - HEADER_BYTES) // FACET_BYTES
        what = (
            f"the file is cut short or is no STL: its header promises {declared} facets, "
            f"{there} are there"
        )
    else:
        what = (
            f"the file is damaged or is no STL: {actual - expected} bytes follow "
            f"the {declared} facets its header promises"
        )
    return FileError(what, where=where, hint=AGAIN)


def _of_another_size(
    data: bytes, declared: int, size: int, where: str
) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """Facets of a binary file that is not as long as its count says, if that can be told."""
    extra = len(data) - size
    whole, rest = divmod(len(data) - HEADER_BYTES, FACET_BYTES)
    if declared and extra > 0 and not data[size:].strip(b"\0"):
        note = f"{extra} empty bytes after the last facet were passed over"
        return _binary(data[:size]), (note,)
    if declared and 0 < extra < FACET_BYTES and _plausible(data[:size]):
        note = f"{extra} byte{'s' * (extra != 1)} after the last facet were passed over"
        return _binary(data[:size]), (note.replace("1 byte after the last facet were", ONE_BYTE),)
    if declared and extra >= FACET_BYTES and _closes(data[:size]):
        note = f"{extra} bytes after the {declared} facets that close the surface were passed over"
        return _binary(data[:size]), (note,)
    if whole > 0 and rest == 0 and (declared in NO_COUNT or extra > 0) and _closes(data):
        note = f"the count in the header ({declared}) is wrong: {whole} facets close the surface"
        return _binary(data), (note,)
    raise _wrong_size(len(data), declared, size, where)


def _plausible(data: bytes) -> bool:
    """Whether records look like facets: finite, and of coordinates that a float32 file has."""
    corners = _binary(data)
    with np.errstate(over="ignore", invalid="ignore"):
        sizes = np.abs(corners).max(axis=(1, 2))
    return bool(np.isfinite(corners).all() and (sizes < LARGEST_COORDINATE).all())


def _closes(data: bytes) -> bool:
    """Whether the records' facets are finite and use every edge once each way."""
    if not _plausible(data):
        return False
    points = np.ascontiguousarray(_binary(data).reshape(-1, 3) + np.float32(0.0))
    _, numbers = number_equal(points.view("u4"))
    table = edge_table(numbers.reshape(-1, 3))
    return bool((table.uses >= 2).all() and not table.balance.any())


def _binary(data: bytes) -> NDArray[np.float32]:
    count = (len(data) - HEADER_BYTES) // FACET_BYTES
    records = np.frombuffer(data, dtype=StlMesh.dtype, offset=HEADER_BYTES, count=count)
    return records["vectors"].astype(np.float32)


def stl_bytes(mesh: trimesh.Trimesh, header: str) -> bytes:
    """Binary STL of a mesh.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        In the unit the file is meant to be read in, which is mm.
    header : str
        ASCII text, cut at 80 bytes. It never begins with the word ``solid``, which
        some readers take for the mark of a text file.

    Returns
    -------
    bytes
        The file.

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


def _fill(records: NDArray[np.void], vertices: Floats, facets: Ints) -> None:
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
