"""Score of a list of dimensions against the truth of a part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from .parts import Part
from .truth import Dimension

SMALLEST_MM = 1e-3
SLANT = float(np.cos(np.radians(1.0)))
CROSS = float(np.sin(np.radians(1.0)))

FINDS: dict[str, tuple[str, ...]] = {
    "outside": ("outside", "wall", "height", "depth"),
    "wall": ("wall", "outside", "height", "depth"),
    "height": ("height", "outside", "wall", "depth"),
    "inside": ("inside",),
    "step": ("step", "depth", "height"),
    "depth": ("depth", "step", "outside", "wall", "height"),
    "bore": ("bore",),
    "boss": ("boss",),
    "axis_distance": ("axis_distance",),
    "axis_to_face": ("axis_to_face", "height"),
}
"""For each planted kind the listed kinds that find it."""

PROVES: dict[str, tuple[str, ...]] = {
    "outside": ("outside", "wall", "height", "span"),
    "wall": ("wall", "span"),
    "height": ("height", "outside", "wall", "step", "depth", "axis_to_face", "span"),
    "inside": ("inside", "span"),
    "step": ("step", "depth"),
    "depth": ("depth", "step", "outside", "wall", "height"),
    "bore": ("bore",),
    "boss": ("boss",),
    "axis_distance": ("axis_distance",),
    "axis_to_face": ("axis_to_face",),
}
"""For each listed kind the true distances that prove it."""


def score(
    part: Part, listed: Sequence[Mapping[str, Any]]
) -> tuple[list[Dimension], list[Mapping[str, Any]]]:
    """What a list misses and what it invents.

    Parameters
    ----------
    part
        The part.
    listed
        Rows with ``kind``, ``value_mm`` and ``direction``. Across an axis the direction may be
        the axis or any direction square to it.

    Returns
    -------
    missed
        Planted dimensions that no row of a fitting kind and a parallel direction tells within
        a micrometre or twice the file's noise.
    invented
        Rows that are no true distance of the mesh.

    Raises
    ------
    ValueError
        If a row has a kind that the truth does not know, or a direction of no length.
    """
    within = max(SMALLEST_MM, 2 * part.noise_mm)
    kinds = np.array([str(row["kind"]) for row in listed], dtype=object)
    unknown = set(kinds.tolist()) - set(PROVES)
    if unknown:
        raise ValueError(f"kinds {sorted(unknown)} are none of {sorted(PROVES)}")
    values = np.array([float(row["value_mm"]) for row in listed])
    ways = np.array([np.asarray(row["direction"], float) for row in listed]).reshape(-1, 3)
    lengths = np.linalg.norm(ways, axis=1)
    if not (lengths > 0).all():
        raise ValueError("a direction has no length")
    ways = ways / lengths[:, None]
    missed = [
        one
        for one in part.dimensions
        if not (_near(one, values, ways, within) & np.isin(kinds, FINDS[one.kind])).any()
    ]
    proven = np.zeros(len(listed), bool)
    for kind in sorted({d.kind for d in part.true_distances}):
        proves = np.array([kind in PROVES[k] for k in kinds], bool)
        for one in part.true_distances:
            if one.kind == kind and proves.any():
                proven |= proves & _near(one, values, ways, within)
    return missed, [row for row, good in zip(listed, proven, strict=True) if not good]


def _near(
    one: Dimension, values: np.ndarray[Any, Any], ways: np.ndarray[Any, Any], within: float
) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Rows with the value and the direction of a distance."""
    turn = np.abs(ways @ one.direction)
    fits = turn > SLANT
    if one.radial:
        fits |= turn < CROSS
    return np.asarray(fits & (np.abs(values - one.value_mm) <= within))
