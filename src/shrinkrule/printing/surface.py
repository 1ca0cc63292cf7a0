"""The surface of a green part with what the checks of its undersides share: facets, edges, rays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import trimesh

from shrinkrule.mesh import Rays, rays_of
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.numerics.edges import EdgeTable, edge_table
from shrinkrule.numerics.triangles import normals_of
from shrinkrule.printing.findings import Vector


@dataclass(frozen=True)
class PrintSurface:
    """The surface of a green part, standing on z = 0.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A closed surface in the print frame, mm.
    layer_mm : float
        Height of a layer: what is nearer than that rests on what lies below it.
    """

    mesh: trimesh.Trimesh
    layer_mm: float

    @cached_property
    def points(self) -> Floats:
        """Vertices (n, 3), mm."""
        return np.asarray(self.mesh.vertices, dtype=np.float64)

    @cached_property
    def facets(self) -> Ints:
        """Facets (m, 3)."""
        return np.asarray(self.mesh.faces, dtype=np.int64)

    @cached_property
    def normals(self) -> Floats:
        """Outward unit normals (m, 3)."""
        return normals_of(self.points, self.facets)

    @cached_property
    def edges(self) -> EdgeTable:
        """Edges of the facets."""
        return edge_table(self.facets)

    @cached_property
    def partner(self) -> Ints:
        """Side (3 m,) that shares its edge with each side, -1 where not just two do."""
        one, other = self.edges.pairs[self.edges.uses == 2].T
        partner = np.full(len(self.edges.edge_of), -1, dtype=np.int64)
        partner[one], partner[other] = other, one
        return partner

    @cached_property
    def rays(self) -> Rays:
        """Rays against the surface."""
        return rays_of(self.mesh)

    def air_below(self, points: Floats) -> Floats:
        """Height (k,) of the air below points (k, 3) of undersides, mm.

        Down to the plate where nothing else is below; 0 where another body touches from below.
        """
        rays = self.rays
        skin = 1e-5 * rays.span
        start = points - rays.middle - [0.0, 0.0, skin]
        down = np.tile([0.0, 0.0, -1.0], (len(points), 1))
        way, facet = rays.cast(start, down)
        # What is left through an underside was inside another body from the start.
        inside = (facet >= 0) & (self.normals[facet, 2] < 0.0)
        return np.where(inside, 0.0, np.minimum(way, points[:, 2]))

    def rests(self, points: Floats) -> Mask:
        """Whether less than a layer is below points (k, 3) of undersides."""
        return self.air_below(points) < self.layer_mm


def vector(point: Floats) -> Vector:
    """A point (3,) as plain numbers."""
    x, y, z = point
    return float(x), float(y), float(z)


def box_about(points: Floats) -> tuple[Vector, Vector]:
    """Lowest and highest corner about points (k, 3)."""
    return vector(points.min(axis=0)), vector(points.max(axis=0))
