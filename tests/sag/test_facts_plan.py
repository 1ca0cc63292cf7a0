"""Bricks through a wall are counted by their longest side; few contacts are released at a time."""

from __future__ import annotations

import numpy as np
import pytest

from sag.solids import bar
from shrinkrule.sag import SagSettings
from shrinkrule.sag.contact.active_set import _strongest
from shrinkrule.sag.plan import plan


def test_bricks_through_a_wall_are_counted_by_the_longest_side() -> None:
    """A wall may lie across any axis: the coarsest side of a brick that is no cube counts."""
    planned = plan(bar((0.0, 0.0, 0.0), (20.0, 8.7, 3.3)), SagSettings(brick_mm=1.0))
    size = planned.grid.size
    assert size.max() > 1.03 * size.min()
    assert planned.bricks_through == pytest.approx(planned.wall_mm / max(size), rel=1e-12)
    assert planned.brick_mm == max(size)


@pytest.mark.parametrize(("releases", "kept"), [(0, 0), (1, 1), (5, 1), (25, 2), (40, 4)])
def test_a_tenth_of_the_releases_goes_first_and_at_least_one(releases: int, kept: int) -> None:
    """Without one the contact would stand still; those that pull hardest push least."""
    push = np.linspace(1.0, -1.0, 50)
    release = np.arange(50) < releases
    found = np.flatnonzero(_strongest(release, push))
    assert list(found) == list(range(releases))[releases - kept :]
