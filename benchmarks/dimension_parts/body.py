"""A body made of solids that are added and cut in turn, its mesh, and what fills a segment."""

from __future__ import annotations

from dataclasses import dataclass, field

import manifold3d
import numpy as np
from scipy.spatial import cKDTree

from .solids import Array, Indices, Solid, Surface


@dataclass(frozen=True)
class Mesh:
    """Closed mesh whose triangles know their surfaces.

    Parameters
    ----------
    vertices
        Corners, mm.
    facets
        Corner numbers, three a row, counter-clockwise from outside.
    normals
        True unit normal of the flat facet that each triangle is a part of.
    surfaces
        The true surfaces.
    owner, number
        For each triangle its surface's place in ``surfaces`` and the number of the flat facet.
    hollow
        For each triangle whether a cut left it.
    """

    vertices: Array
    facets: Indices
    normals: Array
    surfaces: list[Surface]
    owner: Indices
    number: Indices
    hollow: Indices


@dataclass
class Body:
    """Solids added and cut in turn.

    Parameters
    ----------
    steps
        Pairs of ``True`` for added or ``False`` for cut, and the solid.
    volume_mm3
        Volume by formula, or ``None`` where no short formula tells it.
    """

    steps: list[tuple[bool, Solid]] = field(default_factory=list)
    volume_mm3: float | None = None

    def add(self, solid: Solid) -> None:
        """Add a solid.

        Parameters
        ----------
        solid
            What is added.
        """
        self.steps.append((True, solid))

    def cut(self, solid: Solid) -> None:
        """Cut a solid away.

        Parameters
        ----------
        solid
            What is cut.
        """
        self.steps.append((False, solid))

    def mesh(self) -> Mesh:
        """Mesh of the body with the surface of each triangle.

        Returns
        -------
        Mesh
            The closed mesh.

        Raises
        ------
        ValueError
            If a triangle lies on none of the surfaces or the body is empty.
        """
        whole = manifold3d.Manifold()
        for added, solid in self.steps:
            piece = manifold3d.Manifold(
                manifold3d.Mesh64(
                    np.ascontiguousarray(solid.vertices), solid.triangles().astype(np.uint64)
                )
            )
            whole = whole + piece if added else whole - piece
        raw = whole.to_mesh64()
        vertices = np.asarray(raw.vert_properties, float)[:, :3]
        facets = np.asarray(raw.tri_verts).astype(np.int64)
        if not len(facets):
            raise ValueError("the body is empty")
        return self._owned(vertices, facets)

    def _owned(self, vertices: Array, facets: Indices) -> Mesh:
        signs = [1.0 if added else -1.0 for added, _ in self.steps]
        solids = [solid for _, solid in self.steps]
        normals = np.concatenate([s * b.normals for s, b in zip(signs, solids, strict=True)])
        offsets = np.concatenate([s * b.offsets for s, b in zip(signs, solids, strict=True)])
        hollow = np.concatenate(
            [np.full(len(b.normals), s < 0) for s, b in zip(signs, solids, strict=True)]
        )
        surfaces: list[Surface] = []
        place: dict[int, int] = {}
        owner, number = [], []
        for solid in solids:
            for surface, index in solid.sides:
                if id(surface) not in place:
                    place[id(surface)] = len(surfaces)
                    surfaces.append(surface)
                owner.append(place[id(surface)])
                number.append(index)
        corners = vertices[facets]
        cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        size = np.linalg.norm(cross, axis=1)
        unit = cross / np.maximum(size, 1e-300)[:, None]
        tree = cKDTree(np.column_stack([normals * 100, offsets]))
        mean = np.einsum("ij,ij->i", unit, corners.mean(axis=1))
        near = tree.query(np.column_stack([unit * 100, mean]), k=min(6, len(normals)))[1]
        far = _farthest(corners, normals[near], offsets[near])
        which = near[np.arange(len(near)), far.argmin(axis=1)]
        best = far.min(axis=1)
        # Needles have no sure normal: they are held against every facet.
        for i in np.flatnonzero((best > 1e-8) | (size < 1e-6)):
            far = np.abs(corners[i] @ normals.T - offsets).max(axis=0)
            lean = 0.0 if size[i] < 1e-6 else np.where(normals @ unit[i] > 0.999, 0.0, 1.0)
            which[i] = int((far + lean).argmin())
            best[i] = (far + lean).min()
        if best.max() > 1e-5:
            raise ValueError("a triangle lies on no surface of the construction")
        return Mesh(
            vertices,
            facets,
            normals[which],
            surfaces,
            np.array(owner)[which],
            np.array(number)[which],
            hollow[which].astype(np.int64),
        )

    def filled(self, starts: Array, ends: Array) -> tuple[Array, Array]:
        """How much of each segment lies in the body.

        Parameters
        ----------
        starts, ends
            Ends of the segments, one a row, mm.

        Returns
        -------
        metal
            Share of each segment inside the body.
        air
            Share outside it.
        """
        way = ends - starts
        spans: list[tuple[bool, Array, Array]] = []
        for added, solid in self.steps:
            for normals, offsets in solid.pieces:
                speed = way @ normals.T
                gap = offsets - starts @ normals.T
                with np.errstate(divide="ignore", invalid="ignore"):
                    t = gap / speed
                still = np.abs(speed) < 1e-12
                enter = np.where(still, np.where(gap < 0, np.inf, -np.inf), t)
                enter = np.where(~still & (speed > 0), -np.inf, enter).max(axis=1)
                leave = np.where(~still & (speed > 0), t, np.inf).min(axis=1)
                spans.append((added, enter, leave))
        bounds = [np.zeros(len(way)), np.ones(len(way))]
        bounds += [np.clip(side, 0.0, 1.0) for _, a, b in spans for side in (a, b)]
        cuts = np.sort(np.column_stack(bounds), axis=1)
        middle = (cuts[:, 1:] + cuts[:, :-1]) / 2
        inside = np.zeros(middle.shape, bool)
        for added, enter, leave in spans:
            within = (middle > enter[:, None]) & (middle < leave[:, None])
            inside = inside | within if added else inside & ~within
        share = np.diff(cuts, axis=1)
        metal = np.where(inside, share, 0.0).sum(axis=1)
        return metal, 1.0 - metal


def _farthest(corners: Array, normals: Array, offsets: Array) -> Array:
    """Largest distance of three corners to each of their candidate planes, mm."""
    return np.asarray(np.abs(np.einsum("tci,tki->tck", corners, normals) - offsets[:, None]).max(1))
