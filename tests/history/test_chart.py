"""Control charts against worked examples of the NIST/SEMATECH e-Handbook and published tables."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from shrinkrule.history.chart import (
    WEIGHT,
    WIDTH,
    Components,
    known_limits,
    moving_average,
    moving_average_limits,
)
from shrinkrule.history.firings import firing_chart
from shrinkrule.history.store import Entry
from shrinkrule.report.parts.charts import history_page_outputs

KNOWN = Components(0.145, 0.001)

FLOWRATES = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
"""NIST/SEMATECH e-Handbook, 6.3.2.2: ten batches."""

EWMA_DATA = (
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
)  # fmt: skip
EWMA_OUT = (
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
)  # fmt: skip
"""The same, 6.3.2.4: data and moving averages of a weight of 0.3 from a target of 50."""

RUN_LENGTHS = {0.0: 500.0, 0.5: 48.2, 1.0: 11.1, 2.0: 3.6, 3.0: 2.3}
"""J. M. Lucas, M. S. Saccucci (1990): average run length by the step in standard deviations, for a
weight of 0.25 and limits of 2.998, as D. C. Montgomery's *Introduction to Statistical Quality
Control* reprints it."""


def test_the_limits_of_single_values_are_those_of_the_handbook() -> None:
    """6.3.2.2: centre 50.81, limits 55.8041 and 45.8159."""
    # Its mean moving range over d2 of two values is the standard deviation.
    ranges = np.abs(np.diff(FLOWRATES))
    limits = known_limits(Components(float(np.mean(FLOWRATES)), float(ranges.mean()) / 1.128))
    assert limits.centre == pytest.approx(50.81)
    assert limits.upper == pytest.approx(55.8041, abs=5e-5)
    assert limits.lower == pytest.approx(45.8159, abs=5e-5)


def test_the_moving_average_is_that_of_the_handbook() -> None:
    """6.3.2.4: limits 52.5884 and 47.4115 for a standard deviation of 2.0539, rounded there."""
    found = moving_average(EWMA_DATA, 50.0, 0.3)
    assert found == pytest.approx(EWMA_OUT, abs=6e-3)
    limits = moving_average_limits(Components(50.0, 2.0539), 0.3, 3.0)
    assert (limits.upper, limits.lower) == pytest.approx((52.5884, 47.4115), abs=1e-3)


@pytest.mark.parametrize("step", RUN_LENGTHS)
def test_run_lengths_are_those_of_the_published_table(step: float) -> None:
    """2000 charts each; three standard errors of their mean, and half of the table's last digit."""
    charts, most = 2000, 3000 if step == 0.0 else 400
    values = np.random.default_rng(1).normal(step, 1.0, (charts, most))
    limits = moving_average_limits(Components(0.0, 1.0))
    beyond = np.abs(moving_average(values, 0.0)) > limits.upper
    lengths = np.where(beyond.any(axis=1), beyond.argmax(axis=1) + 1, most)
    # Of an in-control chart some are cut off: e^-6 of them, at 2.5 per mille of the mean.
    error = 3.0 * lengths.std() / charts**0.5
    assert lengths.mean() == pytest.approx(RUN_LENGTHS[step], abs=error + 0.05)
    assert (WEIGHT, WIDTH) == (0.25, 2.998)


def test_a_step_of_two_deviations_is_found_within_four_firings_as_a_rule() -> None:
    values = np.random.default_rng(2).normal(2.0, 1.0, (4000, 60))
    beyond = moving_average(values, 0.0) > moving_average_limits(Components(0.0, 1.0)).upper
    assert np.median(beyond.argmax(axis=1) + 1) <= 4


@pytest.mark.parametrize("firings", [3, 6, 13])
def test_a_row_of_few_firings_does_not_see_drift_where_there_is_none(firings: int) -> None:
    """Centre and deviation estimated from them; 500 firings between alarms are 9.5 % within 50."""
    rng, charts = np.random.default_rng(firings), 1500
    coupons, values = rng.normal(size=(charts, firings)), rng.normal(size=(charts, 50))
    alarms = {True: 0, False: 0}
    for own, later in zip(coupons, values, strict=True):
        centre, sd = float(own.mean()), float(own.std(ddof=1))
        averages = moving_average(later, centre)
        for learned in (True, False):
            row = Components(centre, sd, sd / firings**0.5, firings - 1.0)
            limits = moving_average_limits(row if learned else Components(centre, sd))
            alarms[learned] += bool(((averages < limits.lower) | (averages > limits.upper)).any())
    assert alarms[True] <= 0.095 * charts
    assert alarms[False] >= 0.25 * charts, "what it is for"


def test_limits_of_few_firings_are_those_of_students_distribution() -> None:
    """Three deviations leave 0.135 % beyond: 4.530 by tables of t for five degrees of freedom."""
    row = Components(10.0, 2.0, 0.5, 5.0)
    assert stats.t.sf(known_limits(row).upper / 4.25**0.5 - 10.0 / 4.25**0.5, 5) == pytest.approx(
        stats.norm.sf(3.0), rel=1e-6
    )
    assert known_limits(row).lower == pytest.approx(20.0 - known_limits(row).upper)


def test_a_drift_that_is_over_is_told() -> None:
    sound = [reviewed(n, 0.145) for n in range(1, 5)]
    off = [reviewed(n, 0.148) for n in range(5, 12)]
    chart = firing_chart(
        [*sound, *off, *(reviewed(n, 0.145) for n in range(12, 25))], "bronze", "xy", KNOWN
    )
    assert chart.drifts_since == ""
    assert "no drift now; there was from 6 to" in chart.said


def reviewed(firing: int, shrinkage: float, letter: str = "A", row: str = "bronze") -> Entry:
    return {
        "entry": "reviewed",
        "row": row,
        "firing": str(firing),
        "date": f"2026-01-{firing:02d}",
        "letter": letter,
        "green": {"sha256": "0" * 64},
        "shrinkage": {"xy": shrinkage, "z": None},
    }


def test_parts_of_one_firing_are_one_firing_and_the_last_review_counts() -> None:
    entries = [
        reviewed(2, 0.150),
        reviewed(1, 0.140),
        reviewed(1, 0.146, "B"),
        reviewed(2, 0.152),
        reviewed(3, 0.9, row="steel"),
    ]
    chart = firing_chart(entries, "bronze", "xy", KNOWN)
    assert chart.firings == ("1", "2")
    assert chart.values == pytest.approx([0.143, 0.152])
    assert "too few" in chart.said
    assert firing_chart(entries, "bronze", "z", KNOWN).firings == ()


def test_a_drift_is_told_from_eight_firings_on_with_its_sign() -> None:
    """A step of 2.5 deviations gives averages of 0.63, 1.09, 1.45, ...; the limit is 1.13."""
    sound = [reviewed(n, 0.145) for n in range(1, 8)]
    late = [reviewed(n, 0.1475) for n in range(8, 14)]
    chart = firing_chart([*sound, *late], "bronze", "xy", KNOWN)
    assert chart.drifts_since == "10"
    assert "shrinks by +0.21 points since firing 10" in chart.said
    assert "a new coupon is due" in chart.said
    held = firing_chart([*sound, reviewed(8, 0.145)], "bronze", "xy", KNOWN)
    assert held.said == "XY: 8 firings, no drift"
    odd = firing_chart([reviewed(0, 0.149), *sound], "bronze", "xy", KNOWN)
    assert "firing 0 alone was off" in odd.said


def test_the_page_draws_no_chart_of_too_few_firings(tmp_path: Path) -> None:
    for count in (7, 8):
        entries = [reviewed(n, 0.145) for n in range(1, count + 1)]
        chart = firing_chart(entries, "bronze", "xy", KNOWN)
        page = history_page_outputs(tmp_path / "t.csv", [], {"bronze": [chart]}, tmp_path)
        text = page.read_text(encoding="utf-8")
        assert chart.said in text
        assert ("<svg" in text) == (count == 8)
