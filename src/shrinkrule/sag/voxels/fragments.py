"""Fragments that seem to float, because what holds them is finer than the columns sample."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Ints, Mask, connected_components
from shrinkrule.sag.voxels.components import Components
from shrinkrule.sag.voxels.corners import CORNERS

_FRAGMENT: Final = 2.0  # bricks: a connected piece of no more is left out if it floats


def without_isolated_fragments(components: Components, bodies: int) -> Components:
    """Leave out isolated fragments, and reconnect larger pieces that should not float.

    A connection narrower than the distance of two columns is not sampled, so what it holds
    appears to float. Small fragments are left out. Of the larger pieces no more stay
    separate than the part has bodies; the others share the nodes at their rim again.

    Parameters
    ----------
    components : Components
        Components of a part.
    bodies : int
        Separate bodies that the part has.

    Returns
    -------
    Components
        The components that are solved.
    """
    shape = components.cells.max(axis=0) + 2
    corners = (components.cells[:, None, :] + CORNERS).reshape(-1, 3)
    nodes = np.ravel_multi_index(tuple(corners.T), tuple(shape)).reshape(-1, 8)
    phantom = components.phantom
    while True:
        group = _connected_elements(nodes * (phantom.max() + 1) + phantom)
        size = np.bincount(group, weights=components.octants.mean(axis=1))
        fragments = size <= min(_FRAGMENT, 0.5 * float(size.max()))
        floating = ~fragments
        floating[np.argsort(-size, kind="stable")[:bodies]] = False
        joined = np.where(np.isin(nodes, nodes[floating[group]]), 0, phantom)
        if np.array_equal(joined, phantom):
            return _left_out(replace(components, phantom=phantom), fragments[group])
        phantom = joined


def _left_out(components: Components, left_out: Mask) -> Components:
    """Components without those to leave out, (n,) bool."""
    kept = ~left_out
    rank, known = np.cumsum(kept) - 1, kept[components.owner]
    return Components(
        components.cells[kept],
        components.octants[kept],
        components.phantom[kept],
        components.stiffness[kept],
        components.points[known],
        rank[components.owner[known]],
    )


def _connected_elements(nodes: Ints) -> Ints:
    """Label (n,) of the connected piece each element belongs to, from its nodes (n, 8)."""
    count, number = len(nodes), np.unique(nodes, return_inverse=True)[1].reshape(-1, 8)
    pairs = np.stack([np.repeat(np.arange(count), 8), count + number.ravel()], axis=1)
    label = connected_components(count + int(number.max()) + 1, pairs)[:count]
    groups: Ints = np.unique(label, return_inverse=True)[1]
    return groups
