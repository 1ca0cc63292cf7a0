"""Compiles the loops that a job needs late, in processes of their own (first run only)."""

from __future__ import annotations

import gc
import sys
from typing import Any, Final

import numpy as np

from shrinkrule.numerics.jit import compile_elsewhere, spare_entries
from shrinkrule.sag.fem import field
from shrinkrule.sag.voxels import reentrant, scanlines
from shrinkrule.walls.thickness import behind, bitangent, growth, inscribed
from shrinkrule.walls.thickness.tree import Tree

WALLS: Final = (
    (inscribed.measure, behind.look_behind),
    (growth.grow, bitangent.centre, bitangent.project),
)
SAG: Final = (
    (scanlines.chords, scanlines.pieces),
    (
        *(reentrant.turns, reentrant.octants_passed, reentrant.sum_tensors),
        *(field.brick_around, field.interpolated),
    ),
)
"""What each process compiles, in this order: sag comes after the walls. Each share takes about as
long, and with them all processes are busy until the first run's last loop is compiled."""

WITH_SAG: Final = "sag"


def shares(with_sag: bool) -> tuple[tuple[Any, ...], ...]:
    """What each process compiles.

    Parameters
    ----------
    with_sag : bool
        Whether sag is estimated too.

    Returns
    -------
    tuple of tuple of callable
        Loops.
    """
    return tuple(walls + sag if with_sag else walls for walls, sag in zip(WALLS, SAG, strict=True))


def compile_ahead(*, with_sag: bool) -> None:
    """Start compiling beside this process what is not on disk yet; returns at once.

    Parameters
    ----------
    with_sag : bool
        Whether sag is estimated too.
    """
    compile_elsewhere(__name__, shares(with_sag), *([WITH_SAG] if with_sag else []))


def compile_here(share: int, *, with_sag: bool) -> None:
    """Compile the loops of a share by calling each for no row at all.

    Parameters
    ----------
    share : int
        Which of `shares`.
    with_sag : bool
        Whether sag is estimated too.
    """
    ones, whole = np.empty(0), np.empty(0, np.int64)
    rows: Any = np.empty((0, 3))
    boxes, slabs = np.zeros((2, 6), np.float32), np.zeros((2, 5), np.float32)
    answers: Any = np.empty(0, np.bool_)
    tree = Tree(boxes, slabs, np.zeros(1, np.int64), np.zeros((1, 3, 3)), np.zeros((1, 3)))
    two, goals = np.empty((0, 2, 3)), np.empty((0, 1, 3))
    facets, triangles = np.empty((0, 3), np.int64), np.empty((0, 3, 3))
    ends, step = np.empty((0, 2), np.int64), np.ones(3)
    number, corners = np.empty((0, 0, 0), np.int32), np.empty((0, 8), np.int32)
    arguments: dict[Any, tuple[Any, ...]] = {
        inscribed.measure: (tree, rows, rows, whole, ones, whole, 0.0, ones, rows),
        behind.look_behind: (tree, rows, rows, ones, ones, answers),
        growth.grow: (tree, rows, ones, np.ones(1), rows, ones, two, goals),
        bitangent.centre: (tree, rows, ones, ones, rows, rows, whole),
        bitangent.project: (tree, rows, ones, rows, 0.0, rows, whole),
        scanlines.chords: (triangles, ones),
        scanlines.pieces: (triangles, rows, whole, ones, ones, ones, whole, step, 0),
        reentrant.turns: (rows, facets, whole, answers, ends),
        reentrant.octants_passed: (two,),
        reentrant.sum_tensors: (two, ones, whole, 0),
        field.brick_around: (rows, step, number),
        field.interpolated: (rows, whole, step, facets, corners, rows),
    }
    for loop in shares(with_sag)[share]:
        loop(*arguments[loop])


if __name__ == "__main__":
    # Next to nothing that compiling makes becomes garbage before the end.
    gc.disable()
    spare_entries()
    compile_here(int(sys.argv[1]), with_sag=WITH_SAG in sys.argv[2:])
