"""Dimensions of three public meshes against lists written by hand.

    python benchmarks/dimensions_by_hand.py FOLDER

The meshes (plate_holes, idler_riser and angle_block of the trimesh library's test models, MIT
licence) are not part of this project; FOLDER holds them. Their coordinates were read face by face
and circle by circle: levels of faces, axes, diameters, where rounds begin and end. Of these follow
all true lengths along each direction; what must be found is a list of its own. One of the three is
in millimetres, two in inches; all numbers here are in mm.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations
from pathlib import Path
from typing import Final

import numpy as np

from shrinkrule.dimensions import Dimension, Kind, find_dimensions
from shrinkrule.mesh import read_part

Vector = tuple[float, float, float]

X: Final = (1.0, 0.0, 0.0)
Y: Final = (0.0, 1.0, 0.0)
Z: Final = (0.0, 0.0, 1.0)
DOWN: Final = (0.0, 0.96592583, -0.25881905)
"""Along the bores of the angle block, 15 degrees off its Y, and ..."""
UP: Final = (0.0, 0.25881905, 0.96592583)
"""... square to them and to X."""

NEAR_MM: Final = 2e-3
"""Lengths were read to a micrometre, at both ends."""


@dataclass(frozen=True)
class Along:
    """One direction of a mesh: levels of faces across it, and of the axes that cross it."""

    way: Vector
    levels: tuple[float, ...]
    axes: tuple[float, ...] = ()


@dataclass(frozen=True)
class ByHand:
    """What a mesh measures.

    ``along`` gives the levels, ``diameters`` bores and bosses, ``round_lengths`` depths, walls
    between two rounds and distances of axes, ``must`` what has to be found.
    """

    file: str
    unit: str
    along: tuple[Along, ...]
    diameters: tuple[float, ...]
    round_lengths: tuple[float, ...]
    must: dict[Kind, tuple[float, ...]] = field(default_factory=dict)


MESHES: Final = (
    # A plate of 8 x 12 x 1/2 inch, its edges rounded below; four countersunk holes in its corners
    # and one with a counterbore in the middle, a little above it.
    ByHand(
        "plate_holes.STL",
        "mm",
        (
            Along(X, (0.0, 203.2), (39.8982, 101.6, 163.3018)),
            Along(Y, (0.0, 304.8), (47.7742, 154.4807, 257.0258)),
            Along(Z, (0.0, 6.35, 12.7)),
        ),
        (6.7564, 11.1125),
        (
            6.35, 9.1791,
            123.4036, 209.2517, 242.9294, 123.2615, 119.6771,
        ),
        {
            Kind.OVERALL: (203.2, 304.8, 12.7),
            Kind.BORE: (6.7564, 11.1125),
            Kind.DEPTH: (6.35, 9.1791),
            Kind.STEP: (6.35,),
            Kind.AXES: (123.4036, 209.2517, 242.9294, 123.2615, 119.6771),
            Kind.TO_FACE: (
                39.8982, 101.6, 163.3018, 47.7742, 154.4807, 257.0258, 150.3193,
            ),
        },
    ),
    # A riser: a ring with a bore of 1 3/4 inch, 2 inches outside, on a round base of 2.656 inches
    # that runs into a plate with an upright rib and two bores along Y.
    ByHand(
        "idler_riser.STL",
        "in",
        (
            Along(X, (0.0, 63.5), (9.525, 31.75, 53.975)),
            Along(Y, (0.0, 5.08), (41.275,)),
            Along(Z, (0.0, 6.35, 12.7, 15.875), (6.35,)),
            Along((0.70710678, 0.0, 0.70710678), (0.5613, 48.8301), (11.2253, 42.6559)),
            Along((0.70710678, 0.0, -0.70710678), (44.34, -3.9289), (2.2451, 33.6759)),
        ),
        (44.45, 50.8, 67.4624, 4.9784),
        (
            14.2875, 8.7312, 4.7625,
            3.175, 11.5062,
            44.45,
        ),
        {
            Kind.OVERALL: (67.4624, 75.0062, 15.875),
            Kind.BORE: (44.45, 4.9784),
            Kind.BOSS: (50.8, 67.4624),
            Kind.WALL: (6.35, 5.08, 12.7, 63.5, 3.175),
            Kind.STEP: (6.35, 3.175, 9.525),
            Kind.AXES: (44.45,),
            Kind.TO_FACE: (6.35, 31.75, 36.195, 41.275, 9.525, 53.975),
        },
    ),
    # A block with a bore of 1/2 inch over one of 0.266, and one of 5/32 beside them, all 15 degrees
    # off the upright; the upper face has a border of 1/8 inch.
    ByHand(
        "angle_block.STL",
        "in",
        (
            Along(X, (-17.0, -13.825, -9.9949, 9.9949, 13.825, 17.0), (0.0,)),
            Along(Y, (0.0, 2.0066, 25.4)),
            Along(Z, (0.0, -34.3404)),
            Along(DOWN, (24.5346, 23.3440, 19.7721, 11.8346)),
            Along(UP, (-28.9779, -25.8029, 3.3989), (-23.5886, -9.3011)),
        ),
        (12.7, 6.7564, 3.9688),
        (3.5719, 11.5094, 14.2875),
        {
            Kind.OVERALL: (34.0, 25.4, 34.3404),
            Kind.BORE: (12.7, 6.7564, 3.9688),
            Kind.DEPTH: (3.5719, 11.5094),
            Kind.WALL: (3.175, 3.5719),
            Kind.INSIDE: (27.65, 29.2018),
            Kind.STEP: (1.1906, 2.0066, 11.5094, 12.7),
            Kind.AXES: (14.2875,),
            Kind.TO_FACE: (17.0, 19.6768, 5.3893),
        },
    ),
)  # fmt: skip


def is_true(one: Dimension, mesh: ByHand) -> bool:
    """Whether a dimension is a true one by the hand's list."""
    if one.kind in {Kind.BORE, Kind.BOSS}:
        return bool(np.isclose(one.size_mm, mesh.diameters, rtol=0.0, atol=NEAR_MM).any())
    lengths: list[float] = []
    if one.is_round or one.kind in {Kind.DEPTH, Kind.AXES}:
        lengths += mesh.round_lengths
    if one.kind is Kind.OVERALL:
        lengths += mesh.must[Kind.OVERALL]
    for along in mesh.along:
        if abs(float(np.dot(along.way, one.direction))) < 1.0 - 1e-6:
            continue
        if one.kind is Kind.TO_FACE:
            lengths += [abs(a - level) for a in along.axes for level in along.levels]
        elif not one.is_round:
            lengths += [abs(a - b) for a, b in combinations(along.levels, 2)]
    return bool(np.isclose(one.size_mm, lengths, rtol=0.0, atol=NEAR_MM).any())


def compared(mesh: ByHand, folder: Path) -> tuple[int, list[str], list[str]]:
    """Number listed, and what is missed and invented, in words.

    Parameters
    ----------
    mesh : ByHand
        What is true.
    folder : Path
        Where its file is.

    Returns
    -------
    int, list of str, list of str
        The three.
    """
    found = find_dimensions(read_part(folder / mesh.file, mesh.unit)).every
    missed = [
        f"{kind.value} {size:g}"
        for kind, sizes in mesh.must.items()
        for size in sizes
        if not any(one.kind is kind and abs(one.size_mm - size) <= NEAR_MM for one in found)
    ]
    invented = [f"{one.kind.value} {one.size_mm:.4f}" for one in found if not is_true(one, mesh)]
    return len(found), missed, invented


def page(folder: Path) -> Iterator[str]:
    """Lines for the results page.

    Parameters
    ----------
    folder : Path
        Where the meshes are.

    Yields
    ------
    str
        A table, a line for each mesh.
    """
    yield "| mesh | by hand | listed | missed | invented |"
    yield "| --- | --- | --- | --- | --- |"
    for mesh in MESHES:
        listed, missed, invented = compared(mesh, folder)
        wanted = sum(map(len, mesh.must.values()))
        yield (
            f"| {mesh.file} | {wanted} | {listed} | {', '.join(missed) or 'none'} "
            f"| {', '.join(invented) or 'none'} |"
        )


if __name__ == "__main__":
    print("\n".join(page(Path(sys.argv[1]))))
