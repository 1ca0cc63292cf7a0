"""Which samples belong together: neighbours on one side, both sides of a wall, struts of a net."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.numerics.arrays import Floats, Ints, Mask, connected_components
from shrinkrule.walls.findings import FindingKind, Weight
from shrinkrule.walls.thickness.spheres import ThicknessSamples

NEIGHBOURS: Final = 24
"""Neighbours looked at when samples are joined: a square grid has eight, but round a thin pin or
in a narrow hole more of them lie across than along."""

REACH: Final = 2.0
"""Neighbours are at most this many spacings apart."""

HALFWAY: Final = 0.15
"""Depth of the surface beside the middle between two pieces of it that touch, over their distance:
that of an arc of 67 degrees, and less than half of any gap that prints between such walls."""

PART_SHARE: Final = 0.3
"""A region that goes on smoothly from a larger one and has less than this share of its area
belongs to it."""

FRINGE_SHARE: Final = 0.1
"""The same for a region behind a crease, which may be a wall of its own."""

NODE_SHARE: Final = 0.1
"""Side of the cubes in which one centre represents all, over the reach between struts."""

KINDS: Final = tuple(FindingKind)
NUMBER: Final = {kind: number for number, kind in enumerate(KINDS)}


def links_between(
    rays: Rays,
    samples: ThicknessSamples,
    index: Ints,
    ends: Floats,
    spacing_mm: float,
    same_side: float = 0.0,
) -> tuple[Ints, Ints]:
    """Pairs of samples (as places in ``index``) that belong together.

    Neighbours on one side of the surface do, and samples at which the ball of another one ends.
    On a large part first samples stand for more surface than a spacing holds: those whose pieces of
    the surface may touch are neighbours too.

    Parameters
    ----------
    samples : ThicknessSamples
        All samples.
    index : (k,) int64
        The samples to be joined.
    ends : (k, 2, 3) float64
        Where the ball of each touches the two sides, mm.
    spacing_mm : float
        Spacing of the samples.
    same_side : float
        Cosine between normals above which two neighbours lie on one side.

    Returns
    -------
    (l,) int64, (l,) int64
        The two members of each pair.
    """
    count = len(index)
    points, normals, reach = samples.points[index], samples.normals[index], samples.reach[index]
    tree = cKDTree(points)
    near, close = min(NEIGHBOURS, count), REACH * spacing_mm
    far = max(close, 2.0 * float(reach.max(initial=0.0)))
    apart, beside = tree.query(points, k=range(1, near + 1), distance_upper_bound=far, workers=-1)
    one, other = np.repeat(np.arange(count), near), beside.ravel()
    exists = (other < count) & (one != other)
    one, other, apart = one[exists], other[exists], apart.ravel()[exists]
    together = np.einsum("ij,ij->i", normals[one], normals[other]) > same_side
    one, other, apart = one[together], other[together], apart[together]
    linked = apart <= close
    between = points[other] - points[one]
    level = np.ones(len(one), dtype=np.bool_)
    for which in (one, other):
        level &= np.abs(np.einsum("ij,ij->i", between, normals[which])) <= close
    touch = np.flatnonzero(~linked & level & (apart <= reach[one] + reach[other]))
    half = 0.5 * between[touch]
    out = normals[one[touch]] + normals[other[touch]]
    out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), np.finfo(np.float64).tiny)
    # The surface must go on halfway, or there is air between them.
    above = HALFWAY * apart[touch]
    start = points[one[touch]] + half + above[:, None] * out - rays.middle
    down, _ = rays.cast(start, -out)
    linked[touch] = down <= 2.0 * above
    one, other = one[linked], other[linked]
    rows, columns = [one], [other]
    for end in (0, 1):
        apart, across = tree.query(ends[:, end], distance_upper_bound=far, workers=-1)
        touches = np.flatnonzero((across < count) & (across != np.arange(count)))
        touches = touches[apart[touches] <= np.maximum(close, reach[across[touches]])]
        # A ball ends at the side whose normal points away from it.
        between = ends[touches, end] - ends[touches, 1 - end]
        faces = np.einsum("ij,ij->i", between, normals[across[touches]]) > 0.0
        rows.append(touches[faces])
        columns.append(across[touches[faces]])
    return np.concatenate(rows), np.concatenate(columns)


def groups_of(label: Ints) -> list[Ints]:
    """List the members of each group.

    Parameters
    ----------
    label : (n,) int64
        Group of each member.

    Returns
    -------
    list of (k,) int64
        Indices of the members, group by group, in order of the group numbers.
    """
    if not len(label):
        return []
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1)


def through_nodes(rays: Rays, label: Ints, kind: Ints, centres: Floats, reach_mm: float) -> Ints:
    """Label groups anew so that struts which a thicker node joins are one net.

    Parameters
    ----------
    rays : Rays
        Of the part.
    label, kind : (n,) int64
        Group and kind of each sample.
    centres : (n, 3) float64
        Centres of their balls, mm.
    reach_mm : float
        How far apart struts may end at one node.

    Returns
    -------
    (n,) int64
        New group of each sample.
    """
    links = []
    for number in (NUMBER[FindingKind.THIN_PIN], NUMBER[FindingKind.SINGLE_BEAD_PIN]):
        pins = np.flatnonzero(kind == number)
        if len(np.unique(label[pins])) < 2:
            continue
        cube = np.floor(centres[pins] / (NODE_SHARE * reach_mm)).astype(np.int64)
        _, first = np.unique(np.column_stack([cube, label[pins]]), axis=0, return_index=True)
        pins = pins[first]
        pairs = cKDTree(centres[pins]).query_pairs(reach_mm, output_type="ndarray")
        pairs = pins[pairs[label[pins[pairs[:, 0]]] != label[pins[pairs[:, 1]]]]]
        between = centres[pairs[:, 1]] - centres[pairs[:, 0]]
        length = np.linalg.norm(between, axis=1)
        pairs, between, length = pairs[length > 0.0], between[length > 0.0], length[length > 0.0]
        starts = centres[pairs[:, 0]] - rays.middle
        free, _ = rays.cast(starts, between / length[:, None])
        links.append(label[pairs[free > length]])
    if not links:
        return label
    joined = np.concatenate(links)
    return connected_components(int(label.max()) + 1, joined)[label]


def with_their_fringes(
    label: Ints, kind: Ints, area: Floats, links: tuple[Ints, Ints], smooth: Mask
) -> Ints:
    """Label groups anew so that a small one joins a larger one that weighs as much or more.

    Parameters
    ----------
    label, kind : (n,) int64
        Group and kind of each sample.
    area : (n,) float64
        Area of each, mm2.
    links : ((k,), (k,)) int64
        Neighbours of different kind.
    smooth : (k,) bool
        Whether the surface goes on without a crease between them.

    Returns
    -------
    (n,) int64
        New group of each sample.
    """
    weighs = np.array([list(Weight).index(KINDS[number].weight) for number in range(len(KINDS))])
    total = np.bincount(label, weights=area)
    of_group = np.zeros(len(total), dtype=np.int64)
    of_group[label] = weighs[kind]
    into = np.arange(len(total))
    pairs = np.column_stack([label[links[0]], label[links[1]]])
    for these, share in ((pairs[smooth], PART_SHARE), (pairs, FRINGE_SHARE)):
        if not len(these):
            continue
        small = np.where(total[these[:, 0]] <= total[these[:, 1]], these[:, 0], these[:, 1])
        large = these.sum(axis=1) - small
        part = total[small] < share * total[large]
        # A group never joins one that weighs less.
        same = of_group[small] == of_group[large]
        part &= same if share == PART_SHARE else of_group[small] >= of_group[large]
        # Of several larger neighbours the largest is written last, and counts.
        order = np.argsort(total[large[part]], kind="stable")
        into[small[part][order]] = large[part][order]
    while (into[into] != into).any():
        into = into[into]
    return np.asarray(into[label], dtype=np.int64)
