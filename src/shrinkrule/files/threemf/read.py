"""Facets out of a 3MF package, in mm: its parts found by their relations, its items placed.

The package is read in memory and nothing of it is ever written to disk. What would
change the shape and is not known here (an unknown required extension, a lattice of beams,
encryption) is refused and not passed over. Source: 3MF Core Specification 1.3 and the
Production Extension 1.1, for objects in parts of their own.
"""

from __future__ import annotations

import io
import posixpath
import zipfile
import zlib
from dataclasses import dataclass
from typing import IO, Final

import numpy as np
from lxml import etree

from shrinkrule.errors import FileError
from shrinkrule.files.threemf.model import MM_PER_UNIT, Model, ModelError, read_model
from shrinkrule.files.unpack import MAX_UNPACKED_BYTES, require_memory
from shrinkrule.numerics.arrays import Floats

_AGAIN: Final = "export the model again as 3MF or STL"
_MODEL_RELATION: Final = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_ROOT_RELATIONS: Final = "_rels/.rels"
_COMPOUND_FILE: Final = b"\xd0\xcf\x11\xe0"
_ENCRYPTED_ENTRY: Final = 0x1
_COMPRESSION: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""The two that the Open Packaging Conventions allow."""

MAX_ENTRIES: Final = 20_000
MAX_RATIO: Final = 400
"""Text of coordinates packs to a tenth or twentieth; more than this is no model."""

SMALL_ENOUGH: Final = 32 * 1024**2
"""Bytes of a part below which its ratio does not matter."""

MAX_DEPTH: Final = 40


@dataclass(frozen=True)
class Placed:
    """What a package places.

    Parameters
    ----------
    corners : (m, 3, 3) float64
        Of all facets, mm.
    unit : str
        The unit that the package states.
    objects : tuple of str
        Names of the meshes placed, in their order, where they have any.
    object_boxes : tuple of tuple of 6 float
        Box of each of those as it is placed, lowest corner first, mm.
    description : str
        What the package says that it is.
    """

    corners: Floats
    unit: str
    objects: tuple[str, ...]
    object_boxes: tuple[tuple[float, ...], ...]
    description: str


def facets_from_3mf(data: bytes, where: str) -> Placed:
    """Corner points, in mm, of all facets that a 3MF package places.

    Parameters
    ----------
    data : bytes
        The whole file.
    where : str
        Name of the file, for messages.

    Returns
    -------
    Placed
        The facets, and what the package says of them.

    Raises
    ------
    FileError
        For a file that is no 3MF package, an encrypted or damaged one, one that needs
        an extension unknown here, or one that places no solid.
    """
    if data[:4] == _COMPOUND_FILE:
        raise _encrypted(where)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            _check_entries(package, where)
            # Far places overflow on their way; the part's size is looked at afterwards.
            with np.errstate(over="ignore", invalid="ignore"):
                return _Package(package, where).placed()
    except ModelError as error:
        raise FileError(str(error), where=where, hint=error.hint or _AGAIN) from error
    except etree.XMLSyntaxError as error:
        text = f"{error.msg or 'it ends too early'}".splitlines()[0]
        raise FileError(
            f"the 3D model in this package is no valid XML ({text})", where=where, hint=_AGAIN
        ) from error
    except (zlib.error, EOFError, NotImplementedError) as error:
        raise FileError(
            "the compressed data in this package is damaged or of an unknown kind",
            where=where,
            hint=_AGAIN,
        ) from error
    except (zipfile.BadZipFile, ValueError, OSError, OverflowError) as error:
        why = "cut short or damaged" if data[:2] == b"PK" else "not a zip archive"
        raise FileError(
            f"this is no readable 3MF package ({why})", where=where, hint=_AGAIN
        ) from error


def _encrypted(where: str) -> FileError:
    return FileError(
        "this package is encrypted",
        where=where,
        hint="save it without a password or protection",
    )


def _check_entries(package: zipfile.ZipFile, where: str) -> None:
    """Refuse bombs, encryption, and names that lead out of the archive."""
    entries = package.infolist()
    if len(entries) > MAX_ENTRIES:
        raise FileError(f"this package has {len(entries)} entries", where=where, hint=_AGAIN)
    if sum(entry.file_size for entry in entries) > MAX_UNPACKED_BYTES:
        raise FileError("this package unpacks to more than 2 GiB", where=where, hint=_AGAIN)
    for entry in entries:
        name = entry.filename.replace("\\", "/")
        if ".." in name.split("/"):
            raise FileError(
                f"an entry of this package leads out of it ({name[:60]!r})",
                where=where,
                hint="do not trust this file",
            )
        if entry.flag_bits & _ENCRYPTED_ENTRY or name.lower().startswith("secure/"):
            raise _encrypted(where)
        if entry.compress_type not in _COMPRESSION:
            raise NotImplementedError
        packed = max(entry.compress_size, 1)
        if entry.file_size > SMALL_ENOUGH and entry.file_size > MAX_RATIO * packed:
            raise FileError(
                f"{name[:60]!r} in this package unpacks to {entry.file_size // packed} times its "
                "size, as no model does",
                where=where,
                hint="do not trust this file",
            )


class _Package:
    """A package that is being read: its parts by name, and the models read so far."""

    def __init__(self, package: zipfile.ZipFile, where: str) -> None:
        self._package = package
        self._where = where
        self._entries = {
            entry.filename.replace("\\", "/").lstrip("/").lower(): entry
            for entry in package.infolist()
        }
        self._models: dict[str, Model] = {}
        self._counts: dict[tuple[str, int], int] = {}
        self._names: list[str] = []
        self._boxes: list[Floats] = []

    def placed(self) -> Placed:
        """All that is placed, mm."""
        root = self._root()
        model = self._model(root)
        if model.unit not in MM_PER_UNIT:
            raise ModelError(f"unknown 3MF unit {model.unit[:40]!r}")
        items = [(path or root, number, matrix) for path, number, matrix in model.items]
        count = sum(self._count(path, number, 0) for path, number, _ in items)
        require_memory(count, self._where)
        found: list[Floats] = []
        for path, number, matrix in items:
            self._place(path, number, matrix, found)
        if not found:
            held = sum(len(body.triangles) for body in model.objects.values())
            hint = "put the object on the build plate and export it again" if held else ""
            if held and items:
                hint = "export it as a solid, not as support, surface or other"
            raise ModelError(
                "the package places no solid"
                + (f", although it holds {held} facets" if held else ""),
                hint,
            )
        corners = np.concatenate(found) * MM_PER_UNIT[model.unit]
        if not np.isfinite(corners).all():
            raise ModelError("a transform places an object beyond what a number holds")
        scale = MM_PER_UNIT[model.unit]
        boxes = tuple(tuple(map(float, scale * box)) for box in self._boxes)
        return Placed(corners, model.unit, tuple(self._names), boxes, model.description)

    def _root(self) -> str:
        """Name of the part that holds the build, as the package's own relations state it."""
        if _ROOT_RELATIONS in self._entries:
            with self._open(_ROOT_RELATIONS) as stream:
                for _, element in etree.iterparse(
                    stream, events=("start",), resolve_entities=False, no_network=True
                ):
                    if element.get("Type") == _MODEL_RELATION:
                        name = str(element.get("Target", "")).lstrip("/").lower()
                        if name in self._entries:
                            return name
                        raise ModelError(f"the 3D model {name[:60]!r} is missing in this package")
        models = [name for name in self._entries if name.endswith(".model")]
        usual = [name for name in models if name.endswith("3d/3dmodel.model")]
        if len(usual or models) != 1:
            if not models:
                raise ModelError("this package holds no 3D model")
            raise ModelError(
                f"this package holds {len(models)} models and does not say which is meant"
            )
        return (usual or models)[0]

    def _open(self, name: str) -> IO[bytes]:
        return self._package.open(self._entries[name])

    def _model(self, name: str) -> Model:
        if name not in self._models:
            if name not in self._entries:
                raise ModelError(f"the part {name[:60]!r} is missing in this package")
            with self._open(name) as stream:
                self._models[name] = read_model(stream, posixpath.basename(name))
        return self._models[name]

    def _count(self, path: str, number: int, depth: int) -> int:
        """Facets that an object comes to, with all its components; refuses a circle."""
        if depth > MAX_DEPTH:
            raise ModelError(f"object {number} holds itself, or nests deeper than {MAX_DEPTH}")
        if (path, number) not in self._counts:
            body = self._model(path).object(number)
            self._counts[path, number] = len(body.triangles) + sum(
                self._count(part or path, child, depth + 1) for part, child, _ in body.components
            )
        return self._counts[path, number]

    def _place(self, path: str, number: int, matrix: Floats, found: list[Floats]) -> None:
        body = self._model(path).object(number)
        if not body.solid or self._counts[path, number] == 0:
            return
        if len(body.triangles):
            facets = body.triangles
            if np.linalg.det(matrix[:3]) < 0.0:
                facets = facets[:, ::-1]
            placed = (body.vertices @ matrix[:3] + matrix[3])[facets]
            if body.name:
                self._names.append(body.name)
                low, high = placed.min(axis=(0, 1)), placed.max(axis=(0, 1))
                self._boxes.append(np.concatenate([low, high]))
            found.append(placed)
        for part, child, inner in body.components:
            both = inner @ matrix[:3]
            both[3] += matrix[3]
            self._place(part or path, child, both, found)
