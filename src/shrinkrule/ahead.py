"""Compiles the loops that a job needs late, in processes of their own (first run only)."""

from __future__ import annotations

import sys
from typing import Any, Final

import numpy as np

from shrinkrule.numerics.jit import compile_elsewhere, is_on_disk, only_compile
from shrinkrule.walls.thickness import behind, bitangent, growth, inscribed
from shrinkrule.walls.thickness.tree import Tree

WALLS: Final = (
    (inscribed.measure, behind.look_behind),
    (growth.grow, bitangent.centre, bitangent.project),
)
"""What each process compiles first."""

WITH_SAG: Final = "sag"


def shares(*, with_sag: bool) -> tuple[tuple[Any, ...], ...]:
    """What each process compiles.

    Each share takes about as long, so that all processes are busy until the last loop of a first
    run is compiled. Sag comes after the walls, as in a job.

    Parameters
    ----------
    with_sag : bool
        Whether sag is estimated too.

    Returns
    -------
    tuple of tuple of callable
        Loops.
    """
    if not with_sag:
        return WALLS
    from shrinkrule.sag.fem import field
    from shrinkrule.sag.voxels import reentrant, scanlines

    bends = (reentrant.turns, reentrant.octants_passed, reentrant.sum_tensors)
    return (
        (*WALLS[0], scanlines.chords, scanlines.pieces),
        (*WALLS[1], *bends, field.brick_around, field.interpolated),
    )


def compile_ahead(*, with_sag: bool) -> None:
    """Start compiling beside this process what is not on disk yet; returns at once.

    With the loops of the walls on disk nothing is done: it is no first run.

    Parameters
    ----------
    with_sag : bool
        Whether sag is estimated too.
    """
    if all(is_on_disk(loop) for share in WALLS for loop in share):
        return
    compile_elsewhere(__name__, shares(with_sag=with_sag), *([WITH_SAG] if with_sag else []))


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
    arguments: dict[Any, tuple[Any, ...]] = {
        inscribed.measure: (tree, rows, rows, whole, ones, whole, 0.0, ones, rows),
        behind.look_behind: (tree, rows, rows, ones, ones, answers),
        growth.grow: (tree, rows, ones, np.ones(1), rows, ones, two, goals),
        bitangent.centre: (tree, rows, ones, ones, rows, rows, whole),
        bitangent.project: (tree, rows, ones, rows, 0.0, rows, whole),
    }
    if with_sag:
        arguments |= _of_sag()
    for loop in shares(with_sag=with_sag)[share]:
        loop(*arguments[loop])


def _of_sag() -> dict[Any, tuple[Any, ...]]:
    """What the loops of the sag are called with, for no row at all."""
    from shrinkrule.sag.fem import field
    from shrinkrule.sag.voxels import reentrant, scanlines

    ones, whole, step = np.empty(0), np.empty(0, np.int64), np.ones(3)
    rows, triangles, edges = np.empty((0, 3)), np.empty((0, 3, 3)), np.empty((0, 2, 3))
    facets, ends = np.empty((0, 3), np.int64), np.empty((0, 2), np.int64)
    number, corners = np.empty((0, 0, 0), np.int32), np.empty((0, 8), np.int32)
    return {
        scanlines.chords: (triangles, ones),
        scanlines.pieces: (triangles, rows, whole, ones, ones, ones, whole, step, 0),
        reentrant.turns: (rows, facets, whole, np.empty(0, np.bool_), ends),
        reentrant.octants_passed: (edges,),
        reentrant.sum_tensors: (edges, ones, whole, 0),
        field.brick_around: (rows, step, number),
        field.interpolated: (rows, whole, step, facets, corners, rows),
    }


if __name__ == "__main__":
    only_compile()
    compile_here(int(sys.argv[1]), with_sag=WITH_SAG in sys.argv[2:])
