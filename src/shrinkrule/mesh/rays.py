"""Rays against a mesh through embree.

Embree computes in float32: coordinates are taken from the middle of the mesh, where they
lose the least, and what must be exact is found again among the true facets afterwards. The tree
of a mesh is built once for all who ask in a row.
"""

from __future__ import annotations

from functools import cached_property
from typing import Final

import numpy as np
import trimesh
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene

from shrinkrule.mesh.kept import Kept
from shrinkrule.numerics.arrays import Floats, Ints, box_of

SKIN: Final = 2e-6
"""Depth under a surface, as a share of the mesh's span, at which a ray inwards starts.

Some thirty roundings of float32 away from the facet it starts on, and far thinner than
anything that prints.
"""

SINGLE_ROUNDING: Final = 2.0**-23
"""Most that float32 can be wrong by, as a share of a value and of what it was made of."""

FARTHEST: Final = 1e37
"""Farther than any ray goes, in what float32 can hold."""

MOST_KEPT: Final = 2
"""Meshes whose rays are kept at a time: the part as it is wanted, and as it is printed."""


class Rays:
    """A mesh made ready to be hit by rays.

    Attributes
    ----------
    middle : (3,) float64
        Middle of its box; everything below is measured from there, mm.
    span : float
        Diagonal of its box, mm.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        At least one facet, mm; also an open one.
    """

    def __init__(self, mesh: trimesh.Trimesh) -> None:
        vertices = np.asarray(mesh.vertices, dtype=np.float64)
        self.middle, self.span = _middle_and_span(vertices)
        self._scene = EmbreeScene()
        TriangleMesh(
            self._scene,
            (vertices - self.middle).astype(np.float32),
            np.asarray(mesh.faces, np.int32),
        )
        # The first ray builds the tree, which threads must not do together.
        self.cast(np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]]))

    def cast(
        self, origins: Floats, directions: Floats, reach: float = np.inf
    ) -> tuple[Floats, Ints]:
        """Distance to the first facet along each ray, inf for none, and the facet or -1.

        Parameters
        ----------
        origins : (n, 3) float
            From the middle of the mesh, mm.
        directions : (n, 3) float
            Unit vectors.
        reach : float
            How far the rays go, mm.
        """
        found = self._scene.run(
            np.ascontiguousarray(origins, dtype=np.float32),
            np.ascontiguousarray(directions, dtype=np.float32),
            np.full(len(origins), min(reach, FARTHEST), dtype=np.float32),
            output=True,
        )
        facets = np.asarray(found["primID"], dtype=np.int64)
        distance = np.asarray(found["tfar"], dtype=np.float64)
        return np.where(facets >= 0, distance, np.inf), facets

    def opposite(self, points: Floats, directions: Floats, reach: float) -> tuple[Floats, Ints]:
        """Way from points of the surface to the surface opposite, inf beyond ``reach``.

        The way is never too short: by up to ``SINGLE_ROUNDING`` of the span too long.
        With it comes the facet there, or -1.

        Parameters
        ----------
        points, directions : (n, 3) float64
            From the middle of the mesh, mm, and unit vectors away from the facet.
        reach : float
            Longest way of interest, mm.
        """
        skin = SKIN * self.span
        distance, facets = self.cast(points + skin * directions, directions, reach + skin)
        distance += skin + SINGLE_ROUNDING * (self.span + distance)
        near = distance < reach
        return np.where(near, distance, np.inf), np.where(near, facets, -1)


_RAYS: Final = Kept(Rays, MOST_KEPT)


def rays_of(mesh: trimesh.Trimesh) -> Rays:
    """Rays against a mesh; those of the last few meshes are kept as long as the mesh itself.

    A mesh that was changed since in place gets new ones.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        At least one facet, mm; also an open one.

    Returns
    -------
    Rays
        Ready to be cast, also from several threads.
    """
    return _RAYS.of(mesh)


class MovedRays:
    """Rays against a mesh, cast against the same mesh moved, turned and stretched.

    One tree serves both. What is asked and given is in terms of the mesh as it was.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The mesh as it was, mm.
    moved : trimesh.Trimesh
        The mesh where it is now; its rays are those of :func:`rays_of`, and made when first cast.
    matrix : (4, 4) float64
        From the one to the other, acting on columns of x, y, z, 1.
    """

    def __init__(self, mesh: trimesh.Trimesh, moved: trimesh.Trimesh, matrix: Floats) -> None:
        self._mesh, self._moved, self._matrix = mesh, moved, matrix

    @cached_property
    def _place(self) -> tuple[Floats, float]:
        """Middle of the box of the mesh as it was, and its diagonal."""
        return _middle_and_span(np.asarray(self._mesh.vertices, dtype=np.float64))

    @property
    def middle(self) -> Floats:
        """Middle of its box (3,): everything below is measured from there, mm."""
        return self._place[0]

    @property
    def span(self) -> float:
        """Diagonal of its box, mm."""
        return self._place[1]

    def cast(self, origins: Floats, directions: Floats) -> tuple[Floats, Ints]:
        """Distance to the first facet along each ray, inf for none, and the facet or -1.

        Parameters
        ----------
        origins : (n, 3) float
            From the middle of the mesh, mm.
        directions : (n, 3) float
            Unit vectors.
        """
        rays = rays_of(self._moved)
        turn = self._matrix[:3, :3]
        ways = directions @ turn.T
        stretched = np.linalg.norm(ways, axis=1)
        starts = (origins + self.middle) @ turn.T + (self._matrix[:3, 3] - rays.middle)
        distance, facets = rays.cast(starts, ways / stretched[:, None])
        return distance / stretched, facets


def _middle_and_span(vertices: Floats) -> tuple[Floats, float]:
    """Middle (3,) of the box of vertices, and its diagonal."""
    low, high = box_of(vertices)
    middle: Floats = 0.5 * (low + high)
    return middle, float(np.linalg.norm(high - low))
