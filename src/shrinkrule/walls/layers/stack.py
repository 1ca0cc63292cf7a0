"""The part cut at each layer's mid-height, from the bed up.

A layer whose facets are all upright and the same as in the layer below has the same
outline, and is not cut again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import manifold3d
import numpy as np
from manifold3d import CrossSection
from numpy.typing import NDArray

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.triangles import area_normals
from shrinkrule.walls.layers.loops import (
    chain_pieces,
    cut_facets,
    facets_by_layer,
    layer_counts,
    layer_spans,
    thinned,
)
from shrinkrule.walls.layers.outlines import outline_length
from shrinkrule.walls.layers.shell import Shell
from shrinkrule.walls.layers.widths import segments_of

SIMPLE_MM: Final = 5.0e-4
"""Outline points that move it less than this are dropped; a quarter of the margin."""

MAX_LAYERS: Final = 2000
"""Taller stacks are cut at every second, third ... layer, to end within seconds."""

MAX_CUTS: Final = 12_000_000
"""Facets cut in all layers together; with more, layers are left out as in a tall stack."""

MAX_KEPT: Final = 300
"""Layers whose edges are kept in memory: enough for the places of a part, not for a tall stack."""

MAX_ENDS: Final = 60
"""Open outlines in one layer; with more it has too many open contours to be closed."""

CRACK_MM: Final = 0.02
"""Gaps up to this wide close without doubt: no bead would show such a crack."""

BRIDGED_SHARE: Final = 0.3
"""Share of an outline that may be straight lines over gaps; with more it is a guess."""


@dataclass(frozen=True)
class Layer:
    """One cross-section.

    Parameters
    ----------
    section : CrossSection
        Material, mm.
    same : bool
        Whether the layer below has the same section.
    bridges : ((k, 2), (k, 2)) float64
        Ends of the straight lines that close open outlines, mm.
    usable : bool
        False where there are too many open contours; the section is empty then.
    twice_mm2, inside_out_mm2 : float
        Area that the surface encloses more than once, and that it encloses inside out.
    """

    section: CrossSection
    same: bool
    bridges: tuple[Floats, Floats]
    usable: bool
    twice_mm2: float
    inside_out_mm2: float


NO_BRIDGES: Final = (np.empty((0, 2)), np.empty((0, 2)))


class Stack:
    """A surface and the heights it is cut at.

    Parameters
    ----------
    shell : Shell
        The green part, print frame.
    layer_mm : float
        Layer height.
    """

    def __init__(self, shell: Shell, layer_mm: float) -> None:
        self.shell = shell
        self.layer_mm = layer_mm
        used = shell.used
        self.low, self.high = used.min(axis=0), used.max(axis=0)
        self._count = int(np.floor((self.high[2] - self.low[2]) / layer_mm + 0.5 - 1e-9))
        self.every = 1
        self._corners = shell.corners
        self.layers: list[Layer] = []
        self._near: list[NDArray[np.int32]] = []
        self._slopes: dict[int, tuple[Floats, Floats, Floats]] = {}
        self._edges: dict[int, tuple[Floats, Floats]] = {}
        self.coarsen(max(1, -(-self._count // MAX_LAYERS)))

    def coarsen(self, factor: int) -> None:
        """Choose fewer layers to be cut.

        Parameters
        ----------
        factor : int
            One in so many of those chosen so far stays.
        """
        self.every *= factor
        middles = np.arange(0, self._count, self.every) + 0.5
        self.heights: Floats = self.low[2] + self.layer_mm * middles
        self._spans = layer_spans(self.heights, self._corners)
        counts, self._changed = layer_counts(
            self._spans, self._corners, self.shell.twin, len(self.heights)
        )
        self._counts = np.where(self._changed, counts, 0)
        cuts = int(self._counts.sum())
        if cuts > MAX_CUTS and len(self.heights) > 1:
            self.coarsen(-(-cuts // MAX_CUTS))

    @property
    def step_mm(self) -> float:
        """Height between sections."""
        return self.layer_mm * self.every

    @property
    def top_mm(self) -> float:
        """Height of the part's top."""
        return float(self.high[2])

    def depths(self, layers: Ints) -> Floats:
        """Height of material that each layer represents; at the top it may be less than a layer.

        Parameters
        ----------
        layers : (k,) int64
            Numbers of layers.

        Returns
        -------
        (k,) float64
            Height, mm.
        """
        half = self.step_mm / 2.0
        depth: Floats = half + np.minimum(half, self.top_mm - self.heights[layers])
        return depth

    def cut(self, report: Callable[[float], None]) -> None:
        """Cut all layers, from the bed up.

        Parameters
        ----------
        report : callable
            Called with the share done, 0 to 1.
        """
        offsets = np.concatenate([[0], np.cumsum(self._counts)])
        near = facets_by_layer(self._spans, self._changed, offsets)
        self._near = [near[a:b] for a, b in pairwise(offsets)]
        self._slopes, self._edges = {}, {}
        scratch = np.empty(len(self.shell.facets), np.int64)
        self.layers = []
        for k, height in enumerate(self.heights):
            if self._changed[k]:
                self.layers.append(_layer(self.shell, self._near[k], float(height), scratch))
            else:
                self.layers.append(replace(self.layers[-1], same=True))
            report((k + 1) / len(self.heights))

    def slopes(self, layer: int) -> tuple[Floats, Floats, Floats]:
        """List the pieces of a layer's outline with their lean.

        Parameters
        ----------
        layer : int
            Number of the layer.

        Returns
        -------
        (k, 2) float64, (k, 2) float64, (k,) float64
            Start and end, mm, and how far the piece moves outward per height.
        """
        while self.layers[layer].same:
            layer -= 1
        if layer in self._slopes:
            return self._slopes[layer]
        sides, start, end = cut_facets(
            self.shell.facets, self.shell.points, self._near[layer], float(self.heights[layer])
        )
        corners = self.shell.points[self.shell.facets[sides[:, 0] // 3]]
        normal = area_normals(corners)
        level = np.linalg.norm(normal[:, :2], axis=1)
        lean = np.divide(-normal[:, 2], level, out=np.zeros(len(level)), where=level > 0.0)
        if len(self._slopes) >= MAX_KEPT:
            self._slopes.clear()
        self._slopes[layer] = (start, end, lean)
        return start, end, lean

    def edges(self, layer: int) -> tuple[Floats, Floats]:
        """List a layer's edges, material to the left.

        Parameters
        ----------
        layer : int
            Number of the layer.

        Returns
        -------
        (k, 2) float64, (k, 2) float64
            Start and end, mm.
        """
        while self.layers[layer].same:
            layer -= 1
        if layer not in self._edges:
            if len(self._edges) >= MAX_KEPT:
                self._edges.clear()
            self._edges[layer] = segments_of(self.layers[layer].section)
        return self._edges[layer]

    def space_around(self, section: CrossSection, gap_mm: float) -> CrossSection:
        """Air about a section, out to a frame too far away to make gaps.

        Parameters
        ----------
        section : CrossSection
            One layer, mm.
        gap_mm : float
            Limit of gaps.

        Returns
        -------
        CrossSection
            The air, mm.
        """
        low = self.low[:2] - 4.0 * gap_mm
        size = self.high[:2] + 4.0 * gap_mm - low
        return CrossSection.square((size[0], size[1])).translate((low[0], low[1])) - section


def _layer(shell: Shell, near: NDArray[np.int32], height: float, scratch: Ints) -> Layer:
    sides, start, end = cut_facets(shell.facets, shell.points, near, height)
    order, begins, opened = chain_pieces(sides, shell.twin, scratch)
    bridges = NO_BRIDGES
    points = start[order]
    if opened:
        joined = _bridged(points, end[order], begins, opened)
        if joined is None:
            return Layer(CrossSection(), False, NO_BRIDGES, False, 0.0, 0.0)
        points, begins, bridges = joined
    points, begins = thinned(points, begins, SIMPLE_MM)
    rings = [points[a:b] for a, b in pairwise(begins) if b - a > 2]
    section = CrossSection(rings)
    # Each place counts as often as the surface winds around it.
    wound, area = sum(_signed_area(ring) for ring in rings), section.area()
    around = sum(outline_length(ring) for ring in rings)
    if abs(wound - area) <= SIMPLE_MM * around:
        return Layer(section, False, bridges, True, 0.0, 0.0)
    inverse = CrossSection(rings, manifold3d.FillRule.Negative).area()
    return Layer(section, False, bridges, True, max(0.0, wound + inverse - area), inverse)


def _signed_area(ring: Floats) -> float:
    x, y = (ring - ring[0]).T
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum() / 2.0)


def _bridged(
    points: Floats, ends: Floats, begins: Ints, opened: int
) -> tuple[Floats, Ints, tuple[Floats, Floats]] | None:
    """Close open outlines by straight lines from ends to the nearest beginnings.

    None where there are too many of them, or the lines would be a large share of all.
    """
    if opened > MAX_ENDS:
        return None
    first, last = points[begins[:opened]], ends[begins[1 : opened + 1] - 1]
    gap = np.linalg.norm(last[:, None] - first[None], axis=2)
    follows = np.full(opened, -1, dtype=np.int64)
    taken = np.zeros(opened, dtype=np.bool_)
    for pair in np.argsort(gap, axis=None, kind="stable"):
        one, other = divmod(int(pair), opened)
        if follows[one] < 0 and not taken[other]:
            follows[one] = other
            taken[other] = True
    length = gap[np.arange(opened), follows]
    whole = float(np.linalg.norm(ends - points, axis=1).sum())
    if length.sum() > BRIDGED_SHARE * whole:
        return None
    rings, seen = [], np.zeros(opened, dtype=np.bool_)
    for start in range(opened):
        ring, here = [], start
        while not seen[here]:
            seen[here] = True
            ring += [points[begins[here] : begins[here + 1]], last[here][None]]
            here = int(follows[here])
        if ring:
            rings.append(np.vstack(ring))
    rings += [points[a:b] for a, b in pairwise(begins[opened:])]
    wide = length > CRACK_MM
    sizes = np.cumsum([0, *(len(ring) for ring in rings)])
    return np.vstack(rings), sizes, (last[wide], first[follows[wide]])
