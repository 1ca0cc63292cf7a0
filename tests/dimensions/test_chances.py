"""A small seeded run of the simulated workshops: chances that limits are kept come true."""

from __future__ import annotations

import numpy as np
import pytest
from chance_calibration import chances
from promise_coverage import WORKSHOPS

SETS = 14


@pytest.mark.parametrize("name", ["axis errors", "bores"])
def test_limits_are_kept_as_often_as_their_chances_say(name: str) -> None:
    """Of 168 lengths on 14 parts: 12 points are two standard errors, since parts go together.

    Chances under a half come true less often than those over it by about what they say.
    """
    given, kept = chances(WORKSHOPS[name], SETS, 31).T
    assert given.min() < 0.1
    assert given.max() > 0.9
    assert kept.mean() == pytest.approx(given.mean(), abs=0.12)
    high = given > 0.5
    gap = given[high].mean() - given[~high].mean()
    assert kept[high].mean() - kept[~high].mean() == pytest.approx(gap, abs=0.2)
    assert np.mean((given - kept) ** 2) < 0.8 * np.mean((given.mean() - kept) ** 2)
