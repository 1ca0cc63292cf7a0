"""Compiles the loops that a wall check needs last, in a process of its own (first run only)."""

from __future__ import annotations

from typing import Any

import numpy as np

from shrinkrule.numerics.jit import compile_elsewhere
from shrinkrule.walls.thickness import behind, bitangent, growth
from shrinkrule.walls.thickness.tree import Tree

LATE = (growth.grow, behind.look_behind, bitangent.project, bitangent.centre)
"""What is compiled, in the order in which a check asks for it least soon."""


def compile_ahead() -> None:
    """Start compiling beside this process what is not on disk yet; returns at once."""
    compile_elsewhere(__name__, LATE)


def compile_here() -> None:
    """Compile these loops by calling each for no row at all."""
    ones: Any = np.empty(0)
    rows, numbers = np.empty((0, 3)), np.empty(0, np.int64)
    boxes, slabs = np.zeros((2, 6), np.float32), np.zeros((2, 5), np.float32)
    answers: Any = np.empty(0, np.bool_)
    tree = Tree(boxes, slabs, np.zeros(1, np.int64), np.zeros((1, 3, 3)), np.zeros((1, 3)))
    two, goals = np.empty((0, 2, 3)), np.empty((0, 1, 3))
    growth.grow(tree, rows, ones, np.ones(1), rows, ones, two, goals)
    behind.look_behind(tree, rows, rows, ones, ones, answers)
    bitangent.project(tree, rows, ones, rows, 0.0, rows, numbers)
    bitangent.centre(tree, rows, ones, ones, rows, rows, numbers)


if __name__ == "__main__":
    compile_here()
