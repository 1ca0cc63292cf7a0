"""The surface of a green part with what the checks of its undersides share: facets, edges, rays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import trimesh

from shrinkrule.mesh import Rays, rays_of
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.numerics.edges import EdgeTable, edge_table
from shrinkrule.numerics.triangles import normals_and_areas
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

    @property
    def normals(self) -> Floats:
        """Outward unit normals (m, 3)."""
        return self._normals_and_areas[0].T

    @property
    def areas(self) -> Floats:
        """Areas (m,), mm2."""
        return self._normals_and_areas[1]

    @cached_property
    def _normals_and_areas(self) -> tuple[Floats, Floats]:
        """Normals axis by axis (3, m), and areas (m,)."""
        normals, areas = normals_and_areas(self.points, self.facets)
        return normals, areas

    @cached_property
    def edges(self) -> EdgeTable:
        """Edges of the facets."""
        return edge_table(self.facets)

    @cached_property
    def partner(self) -> Ints:
        """Side (3 m,) that shares its edge with each side, -1 where not just two do."""
        edges = self.edges
        side = np.arange(len(edges.edge_of))
        # Of two sides on an edge, the other is what is left of their sum.
        both = np.bincount(edges.edge_of, side, len(edges.uses)).astype(np.int64)
        both[edges.uses != 2] = -1
        partner = both[edges.edge_of]
        np.subtract(partner, side, out=partner, where=partner >= 0)
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
