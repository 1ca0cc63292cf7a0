"""Fourth-kind Chebyshev smoothing.

Source: J. Lottes, Numer. Linear Algebra Appl. 30 (2023) e2518.
"""

from __future__ import annotations

from typing import Any, Final, Protocol

import numpy as np

from shrinkrule.sag.fem.operator import NodeValues

SMOOTHING: Final = 4
"""Chebyshev steps before and after each coarse correction."""


_POWER_STEPS: Final = 12


class SmoothedLevel(Protocol):
    """One level: an operator, its block-diagonal inverse, and its largest eigenvalue."""

    largest: float

    def apply(self, x: NodeValues) -> NodeValues:
        """Multiply by the stiffness."""
        ...

    def relax(self, r: NodeValues) -> NodeValues:
        """Multiply by the inverse of the (block) diagonal."""
        ...


def largest_eigenvalue(level: SmoothedLevel, shape: tuple[int, ...], dtype: Any) -> float:
    """Estimate the largest eigenvalue of the relaxed operator, a little on the safe side.

    Parameters
    ----------
    level : SmoothedLevel
        The operator.
    shape : tuple of int
        Shape of its vectors.
    dtype : numpy type
        Their type.

    Returns
    -------
    float
        The estimate, a tenth larger than the last iterate.
    """
    x = np.random.default_rng(12).standard_normal(shape).astype(dtype)
    x = level.relax(level.apply(x))
    value = 1.0
    for _ in range(_POWER_STEPS):
        x /= np.linalg.norm(x)
        x = level.relax(level.apply(x))
        value = float(np.linalg.norm(x))
    return 1.1 * value


def smooth(
    level: SmoothedLevel, x: NodeValues | None, b: NodeValues
) -> tuple[NodeValues, NodeValues]:
    """Chebyshev steps on ``A x = b``; returns the solution and its residual.

    Parameters
    ----------
    level : SmoothedLevel
        The operator.
    x : array or None
        Where to start; None is zero.
    b : array
        Right-hand side.

    Returns
    -------
    tuple of two arrays
        The solution and its residual.
    """
    residual = b.copy() if x is None else b - level.apply(x)
    step = level.relax(residual) * (4.0 / (3.0 * level.largest))
    x = np.zeros_like(b) if x is None else x
    for k in range(1, SMOOTHING + 1):
        x += step
        residual -= level.apply(step)
        if k < SMOOTHING:
            step *= (2 * k - 1) / (2 * k + 3)
            step += level.relax(residual) * ((8 * k + 4) / ((2 * k + 3) * level.largest))
    return x, residual
