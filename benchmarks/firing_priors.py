"""What few firings can promise under other priors, and what no rule can: exact, nothing is drawn.

Coupons of two to four firings estimate how much firings differ, beside the scatter of their own
lines; the next firing is promised by the posterior under a prior. Every mean square that can come
out is weighed by its chi-squared density. Run ``python benchmarks/firing_priors.py`` to write the
table of docs/theory-calibration.md again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from scipy import special, stats

from shrinkrule.calibration.statistics.few_firings import GRID, USUAL_SD, posterior
from shrinkrule.numerics.arrays import Floats

LINE_SD: Final = 0.0009
"""What a coupon's own line of few readings scatters by, as a share of the length."""
FURNACES: Final = (0.0004, 0.0013, 0.0027, 0.0050, 0.0080)
FIRINGS: Final = (2, 3, 4)
OUTCOMES: Final = (np.arange(400) + 0.5) / 400
"""Quantiles of the mean square at which everything is worked out."""
Prior = Callable[[Floats], Floats]


def half_t(dof: float) -> Prior:
    """Logarithm of a half-t density whose median is 1."""
    median = float(stats.t.ppf(0.75, dof))
    return lambda x: -0.5 * (dof + 1.0) * np.log1p((x * median) ** 2 / dof)


def log_normal(factor: float) -> Prior:
    """Logarithm of a log-normal density with the median 1; two of three lie within the factor."""
    return lambda x: -0.5 * (np.log(x) / np.log(factor)) ** 2 - np.log(x)


PRIORS: Final[dict[str, Prior]] = {
    "half-Cauchy (ours)": half_t(1.0),
    "half-t of 4": half_t(4.0),
    "log-normal, factor 2": log_normal(2.0),
}


def half_widths(mean_square: Floats, firings: int, prior: Prior) -> Floats:
    """Half widths (n,) that hold 95 % of the posterior, in shares of the length."""
    dof = firings - 1.0
    variance = (USUAL_SD * GRID) ** 2 + LINE_SD**2
    log = -0.5 * dof * (np.log(variance) + mean_square[:, None] / variance)
    log = log + prior(GRID) + np.log(GRID)
    weight = np.exp(log - log.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    low, high = np.zeros(len(mean_square)), np.full(len(mean_square), 10.0)
    for _ in range(50):
        middle = 0.5 * (low + high)
        held = (weight * special.erf(middle[:, None] / np.sqrt(2.0 * variance))).sum(axis=1)
        low, high = np.where(held < 0.95, middle, low), np.where(held < 0.95, high, middle)
    return np.asarray(high * np.sqrt(1.0 + 1.0 / firings))


def held(furnace: float, firings: int, prior: Prior) -> tuple[float, float, float]:
    """Share held of all, and of the narrowest quarter, %; median half width, %."""
    variance = furnace**2 + LINE_SD**2
    dof = firings - 1.0
    half = half_widths(variance * stats.chi2.ppf(OUTCOMES, dof) / dof, firings, prior)
    share = 100.0 * special.erf(half / np.sqrt(2.0 * variance * (1.0 + 1.0 / firings)))
    quarter = share[np.argsort(half)[: len(half) // 4]]
    return float(share.mean()), float(quarter.mean()), 100.0 * float(np.median(half))


def held_as_well(share: float, unsteady: float, usual: float) -> float:
    """Share of a usual furnace, %, that the interval holds which holds ``share`` % unsteady."""
    sigmas = float(stats.norm.ppf(0.5 + share / 200.0))
    ratio = np.hypot(unsteady, LINE_SD) / np.hypot(usual, LINE_SD)
    return 100.0 * float(special.erf(sigmas * ratio / np.sqrt(2.0)))


def main() -> None:
    """Print the table, and what one interval holds in two furnaces."""
    variance, dof = posterior(0.002**2, LINE_SD**2, 2.0)
    ours = float(stats.t.ppf(0.975, dof) * np.sqrt(variance * (1.0 + 1.0 / 3.0)))
    again = float(half_widths(np.array([0.002**2]), 3, PRIORS["half-Cauchy (ours)"])[0])
    assert abs(ours / again - 1.0) < 1e-3
    print("| prior | furnace, % | two firings | three | four |")
    print("| --- | --- | --- | --- | --- |")
    for name, prior in PRIORS.items():
        for furnace in FURNACES:
            cells = [
                f"{every:.0f} ({quarter:.0f}), {half:.2f}"
                for every, quarter, half in (held(furnace, k, prior) for k in FIRINGS)
            ]
            print(f"| {name} | {100 * furnace:.2f} | {' | '.join(cells)} |")
    same = held_as_well(92.0, FURNACES[2], FURNACES[1])
    print(f"what holds 92 % at {100 * FURNACES[2]:.2f} % holds {same:.1f} % at 0.13 %")


if __name__ == "__main__":
    main()
