"""The uncertain value: what was found, how unsure it is, and from how much.

An :class:`Estimate` is knowledge about something that is there already. What a part to come will
measure is an :class:`~shrinkrule.physics.interval.Interval`, and the two are never mixed.

Source: JCGM 100:2008 (GUM), standard uncertainty and its degrees of freedom.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from shrinkrule.numerics.arrays import Floats, Mask

CONFIDENCE: Final = 0.95
"""Coverage of every interval that is printed."""


def t_quantile(dof: ArrayLike, confidence: float = CONFIDENCE) -> Floats:
    """Two-sided Student factor: ``confidence`` of a t variable lies within plus or minus it.

    Parameters
    ----------
    dof : (...) float
        Degrees of freedom.
    confidence : float
        Coverage.

    Returns
    -------
    (...) float
        The factor.

    Examples
    --------
    >>> round(float(t_quantile(34)), 6)
    2.032245
    """
    return np.asarray(special.stdtrit(np.asarray(dof, dtype=np.float64), 0.5 + 0.5 * confidence))


@dataclass(frozen=True)
class Estimate:
    """A value with its standard uncertainty, both in one unit.

    Parameters
    ----------
    value, u : float
        The value and its standard uncertainty.
    dof : float
        Degrees of freedom of ``u``; infinite where ``u`` is taken as exactly known.
    """

    value: float
    u: float
    dof: float = math.inf

    def __str__(self) -> str:
        return f"{self.value:g} +- {self.u:g}"

    def half_width(self, confidence: float = CONFIDENCE) -> float:
        """Half width of the interval for the true value."""
        return float(t_quantile(self.dof, confidence)) * self.u

    def is_significant(self, confidence: float = CONFIDENCE) -> bool:
        """Whether zero lies outside the interval of this confidence."""
        return abs(self.value) > self.half_width(confidence)

    def factor(self, confidence: float = CONFIDENCE) -> float:
        """Factor either way within which a positive value lies that was found as a logarithm.

        ``u / value`` is then the standard uncertainty of the logarithm.

        Examples
        --------
        >>> round(Estimate(900.0, 90.0).factor(), 3)
        1.217
        """
        exponent = self.half_width(confidence) / self.value
        return math.exp(exponent) if exponent < 700.0 else math.inf

    def plus(self, other: Estimate) -> Estimate:
        """Sum with an independent estimate.

        Source: degrees of freedom after Welch and Satterthwaite, JCGM 100:2008, G.4.1.

        Examples
        --------
        >>> Estimate(1.0, 3.0, 4.0).plus(Estimate(2.0, 0.0, 1.0))
        Estimate(value=3.0, u=3.0, dof=4.0)
        """
        u = math.hypot(self.u, other.u)
        unsure = sum(one.u**4 / one.dof for one in (self, other))
        return Estimate(self.value + other.value, u, u**4 / unsure if unsure else math.inf)

    def times(self, factor: float) -> Estimate:
        """The estimate times an exact factor."""
        return Estimate(self.value * factor, self.u * abs(factor), self.dof)


@dataclass(frozen=True)
class Estimates:
    """The same for many sets of data at once, as arrays.

    Parameters
    ----------
    value, u, dof : (...) float
        As of :class:`Estimate`.
    """

    value: Floats
    u: Floats
    dof: Floats

    def half_width(self, confidence: float = CONFIDENCE) -> Floats:
        """Half widths of the intervals for the true values."""
        return t_quantile(self.dof, confidence) * self.u

    def is_significant(self, confidence: float = CONFIDENCE) -> Mask:
        """Whether zero lies outside the interval of this confidence."""
        return np.asarray(np.abs(self.value) > self.half_width(confidence))

    def one(self) -> Estimate:
        """The estimate of a single set."""
        return Estimate(float(self.value), float(self.u), float(self.dof))
