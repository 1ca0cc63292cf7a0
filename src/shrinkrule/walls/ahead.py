"""Compiles the loops that a wall check needs late, in processes of their own (first run only)."""

from __future__ import annotations

import gc
import sys
from typing import Any, Final

import numpy as np

from shrinkrule.numerics.jit import compile_elsewhere
from shrinkrule.walls.thickness import behind, bitangent, growth, inscribed
from shrinkrule.walls.thickness.tree import Tree

SHARES: Final = (
    (inscribed.measure, behind.look_behind),
    (growth.grow, bitangent.centre, bitangent.project),
)
"""What each process compiles: about as long each, and as long as the rest in the command's own."""


def compile_ahead() -> None:
    """Start compiling beside this process what is not on disk yet; returns at once."""
    compile_elsewhere(__name__, SHARES)


def compile_here(share: int) -> None:
    """Compile the loops of a share by calling each for no row at all.

    Parameters
    ----------
    share : int
        Which of `SHARES`.
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
    for loop in SHARES[share]:
        loop(*arguments[loop])


if __name__ == "__main__":
    # Next to nothing that compiling makes becomes garbage before the end.
    gc.disable()
    compile_here(int(sys.argv[1]))
