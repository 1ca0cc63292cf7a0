"""Contact candidates on setter blocks and ballast, which hold undersides besides the plate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh

from shrinkrule.errors import SettingError
from shrinkrule.numerics.arrays import Floats, Ints, Mask, ranges
from shrinkrule.numerics.triangles import unit_normals
from shrinkrule.sag.contact.candidates import FULL_SHARE, LEAST_SHARE, Candidates, edge_spring
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.settings import SupportBox, SupportFacets
from shrinkrule.sag.voxels.corners import PLAN_CORNERS, shape_functions
from shrinkrule.sag.voxels.grid import Grid
from shrinkrule.walls import sample_surface

_PER_BRICK: Final = 4  # samples of the surface along the side of a brick
_DOWNWARD: Final = 0.02  # faces steeper than this share of downward rest on nothing
_WITHIN: Final = 2.0  # bricks: an underside this much above or below a node is not its own
_ON_THE_FACE_MM: Final = 1e-4  # a support that ends at a face holds it


@dataclass(frozen=True)
class Undersides:
    """Where undersides of a part are, at the nodes next to them.

    Parameters
    ----------
    node : (u,) int
        The node that lies nearest to each, which is to be held if the underside is.
    place : (u, 3) float
        The underside itself, in bricks from the grid's low corner.
    """

    node: Ints
    place: Floats


def find_undersides(bricks: Bricks) -> Undersides:
    """Find the undersides, between nodes with bricks above them and none below, and the next.

    A brick with little material in it is soft. Held by its lower node, far below the surface,
    it would let the surface sink; so the upper node is held where it is nearer to the surface.

    Parameters
    ----------
    bricks : Bricks
        The bricks.

    Returns
    -------
    Undersides
        The undersides, and the node to hold at each.
    """
    count = len(bricks.nodes)
    filled, around = np.zeros(count), np.zeros(count)
    above = np.full(count, -1, dtype=np.int64)
    for corner in range(0, 8, 2):
        node = bricks.corners[:, corner]
        np.add.at(filled, node, bricks.octants[:, corner : corner + 2].mean(axis=1))
        np.add.at(around, node, 1.0)
        above[node] = bricks.corners[:, corner + 1]
    below = np.zeros(count, dtype=bool)
    below[bricks.corners[:, 1::2]] = True
    under = np.flatnonzero((around > 0.0) & ~below)
    empty = 1.0 - filled[under] / around[under]
    place = bricks.nodes[under].astype(np.float64)
    place[:, 2] += empty
    return Undersides(np.where(empty > 0.5, above[under], under), place)


def with_supports(
    candidates: Candidates,
    bricks: Bricks,
    grid: Grid,
    mesh: trimesh.Trimesh,
    supports: tuple[SupportBox | SupportFacets, ...],
) -> Candidates:
    """Add the candidates that supports hold where they are.

    As on the plate, a node just beyond the edge of what is held is held by a spring.

    Parameters
    ----------
    candidates : Candidates
        Candidates on the plate.
    bricks : Bricks
        The bricks.
    grid : Grid
        Their grid.
    mesh : trimesh.Trimesh
        The part, mm.
    supports : tuple of SupportBox or SupportFacets
        What holds it.

    Returns
    -------
    Candidates
        The candidates on plate and supports.

    Raises
    ------
    SettingError
        If a support holds nothing, or names a facet that is not there.
    """
    if not supports:
        return candidates
    under = find_undersides(bricks)
    spacing = float(grid.size[:2].min()) / _PER_BRICK
    samples = sample_surface(mesh, spacing)
    corners = np.asarray(mesh.vertices, dtype=np.float64)[mesh.faces[samples.facets]]
    downward = -(unit_normals(corners) @ grid.turn[2])
    low = np.flatnonzero(downward > _DOWNWARD)
    points, facets = samples.points[low], samples.facets[low]
    plan = samples.area[low] * downward[low]
    around = _Around.of(grid.local(points) / grid.size, under)
    everything = around.summed(plan, len(under.node))
    for number, support in enumerate(supports, start=1):
        held = around.summed(plan * _holds(support, number, points, facets, mesh), len(under.node))
        share = held / np.where(everything > 0.0, everything, 1.0)
        if not (share > LEAST_SHARE).any():
            raise SettingError(
                f"support {number} holds no underside of the part",
                hint="move it so that a downward face lies in it",
            )
        candidates = _added(candidates, under, share, grid)
    return candidates


def _holds(
    support: SupportBox | SupportFacets,
    number: int,
    points: Floats,
    facets: Ints,
    mesh: trimesh.Trimesh,
) -> Mask:
    """Which samples of the surface (n,) a support holds."""
    if isinstance(support, SupportBox):
        low, high = np.array(support.low_mm), np.array(support.high_mm)
        inside = (points >= low - _ON_THE_FACE_MM) & (points <= high + _ON_THE_FACE_MM)
        held: Mask = np.asarray(inside.all(axis=1))
        return held
    if not all(0 <= facet < len(mesh.faces) for facet in support.facets):
        raise SettingError(
            f"support {number} names a facet that the part does not have",
            hint=f"name facets from 0 to {len(mesh.faces) - 1}",
        )
    return np.isin(facets, np.array(support.facets))


@dataclass(frozen=True)
class _Around:
    """Samples of the surface and the undersides that they belong to, with the shape functions."""

    sample: Ints  # (k,)
    under: Ints  # (k,)
    weight: Floats  # (k,)

    @staticmethod
    def of(points: Floats, under: Undersides) -> _Around:
        """Pair samples (n, 3), in bricks, with the undersides of the four columns around each."""
        column = under.place[:, :2].astype(np.int64)
        width = int(max(column[:, 1].max(), points[:, 1].max())) + 2
        order = np.argsort(column @ np.array([width, 1]), kind="stable")
        keys = (column @ np.array([width, 1]))[order]
        cell = np.floor(points[:, :2]).astype(np.int64)
        weight = shape_functions(points[:, :2] - cell).T.ravel()
        wanted = (cell + PLAN_CORNERS[:, None]) @ np.array([width, 1])
        found, rank = ranges(
            np.searchsorted(keys, wanted.ravel()), np.searchsorted(keys, wanted.ravel() + 1)
        )
        sample, mine = found % len(points), order[rank]
        near = np.abs(under.place[mine, 2] - points[sample, 2]) < _WITHIN
        return _Around(sample[near], mine[near], weight[found[near]])

    def summed(self, values: Floats, count: int) -> Floats:
        """Sum (u,) of the samples' values (n,) at each underside."""
        sums: Floats = np.bincount(
            self.under, weights=self.weight * values[self.sample], minlength=count
        ).astype(np.float64)
        return sums


def _added(candidates: Candidates, under: Undersides, share: Floats, grid: Grid) -> Candidates:
    """Candidates with the undersides' nodes added, each held by its share (u,) of a support."""
    rigid = np.unique(under.node[share >= FULL_SHARE])
    sprung = np.flatnonzero((share > LEAST_SHARE) & (share < FULL_SHARE))
    sprung = sprung[~np.isin(under.node[sprung], rigid)]
    others = ~np.isin(candidates.node, rigid)
    spring = edge_spring(share[sprung], grid.size)
    return Candidates(
        np.concatenate([candidates.node[others], rigid, under.node[sprung]]),
        np.concatenate([candidates.gap[others], np.zeros(len(rigid) + len(sprung))]),
        np.concatenate([candidates.spring[others], np.full(len(rigid), np.inf), spring]),
    )
