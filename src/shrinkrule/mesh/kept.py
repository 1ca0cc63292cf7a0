"""What was made of a mesh, kept for those who ask again, as long as the mesh itself."""

from __future__ import annotations

import threading
import weakref
import zlib
from collections.abc import Callable
from typing import Generic, TypeVar

import numpy as np
import trimesh

Made = TypeVar("Made")


class Kept(Generic[Made]):
    """What is made of meshes, of the last few of them made once.

    Of a mesh that was changed since in place it is made anew. Threads may ask.

    Parameters
    ----------
    make : callable
        Of a mesh.
    most : int
        Meshes of which it is kept at a time.
    """

    def __init__(self, make: Callable[[trimesh.Trimesh], Made], most: int) -> None:
        self._make = make
        self._most = most
        # By the number of a mesh, the latest last: the mesh, the checksum of its content.
        self._kept: dict[int, tuple[weakref.ref[trimesh.Trimesh], int, Made]] = {}
        self._lock = threading.RLock()

    def of(self, mesh: trimesh.Trimesh) -> Made:
        """What is made of a mesh.

        Parameters
        ----------
        mesh : trimesh.Trimesh
            The mesh.

        Returns
        -------
        object
            As ``make`` gives it.
        """
        number, content = id(mesh), _checksum(mesh)
        with self._lock:
            known = self._kept.pop(number, None)
            if known is None or known[0]() is not mesh or known[1] != content:
                known = (weakref.ref(mesh, self._forget), content, self._make(mesh))
            self._kept[number] = known
            for oldest in list(self._kept)[: -self._most]:
                self._kept.pop(oldest, None)
        return known[2]

    def _forget(self, mesh: weakref.ref[trimesh.Trimesh]) -> None:
        """Let go of what belongs to a mesh that is no more."""
        with self._lock:
            for number, known in list(self._kept.items()):
                if known[0] is mesh:
                    self._kept.pop(number, None)


def _checksum(mesh: trimesh.Trimesh) -> int:
    """Checksum of vertices and facets, which takes a fraction of what most things made take."""
    vertices, facets = (np.ascontiguousarray(values) for values in (mesh.vertices, mesh.faces))
    return zlib.crc32(facets.data, zlib.crc32(vertices.data))
