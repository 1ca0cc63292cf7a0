"""How likely the readings of a part are under plain scatter, and how much likelier by each cause.

Under plain scatter the deviations d are normal with the covariance S of the row; a cause adds U U'
to it, the columns of U being its shape times the standard deviation of its unknown size. By the
matrix determinant lemma and the formula of Woodbury, with M = 1 + U' S^-1 U and b = U' S^-1 d,

    ln p(d | S + U U') - ln p(d | S) = (b' M^-1 b - ln det M) / 2.

Averaged over the sizes, a cause that could explain anything is paid for by det M: it must beat
plain scatter by more than its freedom. Likelihoods are averaged over what few firings leave open of
the firing variance, and the better of two ways in which axes go together holds for all alike.

Source: R. E. Kass, A. E. Raftery, J. Am. Stat. Assoc. 90 (1995) 773-795 (ratio of averaged
likelihoods; ten is "strong"). docs/theory-review.md derives it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import chdtrc, logsumexp

from shrinkrule.calibration import CalibrationRow
from shrinkrule.numerics.arrays import Floats
from shrinkrule.review.causes import Shape, shapes_of, slip_shapes
from shrinkrule.review.readings import Deviations
from shrinkrule.review.scatter import possible_scatter


@dataclass(frozen=True)
class Weighed:
    """How much likelier than plain scatter each cause makes the readings.

    Parameters
    ----------
    plain : float
        Natural logarithm of the likelihood of plain scatter, up to a constant of the number of
        readings.
    shapes : tuple of Shape
        The causes.
    ratios : (c,) float64
        Natural logarithm of the likelihood ratio of each.
    sizes : (c,) float64
        Most likely size of each, in standard deviations of what is usual; its first component.
    slips : (m,) float64
        The same ratio for a slip of each reading, as if it were known which.
    chance : float
        Chance that plain scatter gives readings as unlikely as these (chi squared of all together).
    """

    plain: float
    shapes: tuple[Shape, ...]
    ratios: Floats
    sizes: Floats
    slips: Floats
    chance: float

    @property
    def slip(self) -> float:
        """Ratio for a slip of one reading, whichever: the mean of those of each."""
        return float(logsumexp(self.slips)) - math.log(len(self.slips))


def weigh_causes(
    deviations: Deviations, row: CalibrationRow, more: tuple[Shape, ...] = ()
) -> Weighed:
    """Weigh every cause against plain scatter.

    Parameters
    ----------
    deviations : Deviations
        Of one part, or of parts of one firing; at least one.
    row : CalibrationRow
        The row they were made by.
    more : tuple of Shape, optional
        Shapes to weigh beside those that the readings can show; they come last.

    Returns
    -------
    Weighed
        Likelihood ratios.
    """
    shapes, slips = (*shapes_of(deviations, row), *more), slip_shapes(deviations)
    scatter, weights = possible_scatter(deviations, row)
    of_ways = [[_weigh(one, deviations.off_mm, shapes, slips) for one in way] for way in scatter]
    # (ways, nodes, 1 + causes + slips): logarithms of likelihoods, plain scatter first.
    logs = np.array([[_in_one(*node[:-1]) for node in way] for way in of_ways])
    over_nodes = logsumexp(logs, axis=1, b=weights[:, None])
    best = over_nodes.max(axis=0)
    found, causes = best[1:] - best[0], len(shapes)
    likely = int(over_nodes[:, 0].argmax())
    sizes = np.average([node[2] for node in of_ways[likely]], axis=0, weights=weights)
    chances = [chdtrc(len(deviations), [node[4] for node in way]) @ weights for way in of_ways]
    return Weighed(
        float(best[0]), shapes, found[:causes], sizes, found[causes:], float(max(chances))
    )


def _in_one(plain: float, causes: Floats, _: Floats, slips: Floats) -> Floats:
    return plain + np.concatenate([[0.0], causes, slips])


def _weigh(
    covariance: Floats, off: Floats, shapes: tuple[Shape, ...], slips: Floats
) -> tuple[float, Floats, Floats, Floats, float]:
    """Log likelihood of plain scatter; log ratio and size of each cause, log ratio of each slip.

    Last the squares' sum, which is chi squared under plain scatter.
    """
    factor = cho_factor(covariance, lower=True)
    white = cho_solve(factor, off)
    plain = -0.5 * float(off @ white) - float(np.log(np.diag(factor[0])).sum())
    gains, sizes = np.zeros(len(shapes)), np.zeros(len(shapes))
    for number, shape in enumerate(shapes):
        inside = np.eye(shape.effect.shape[1]) + shape.effect.T @ cho_solve(factor, shape.effect)
        seen = shape.effect.T @ white
        size = np.linalg.solve(inside, seen)
        gains[number] = 0.5 * (seen @ size - np.linalg.slogdet(inside)[1])
        sizes[number] = size[0]
    whole = 1.0 + np.einsum("ij,ij->j", slips, cho_solve(factor, slips))
    seen = slips.T @ white
    ratios = 0.5 * (seen**2 / whole - np.log(whole))
    return plain, gains, sizes, ratios, float(off @ white)
