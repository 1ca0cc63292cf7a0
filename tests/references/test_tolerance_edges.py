"""Edges of the size steps: a step is "over ... up to and including"."""

from __future__ import annotations

import pytest

from shrinkrule.compensation import grade_width_mm, iso2768_class


@pytest.mark.parametrize(
    ("edge", "within", "beyond"),
    [(3.0, 0.10, 0.12), (10.0, 0.15, 0.18), (30.0, 0.21, 0.25), (120.0, 0.35, 0.40)],
)
def test_it12_changes_just_beyond_a_step(edge: float, within: float, beyond: float) -> None:
    """Printed table of ISO 286-1; it rounds, in the smallest step by 15 %."""
    assert grade_width_mm(edge, 12) == pytest.approx(within, rel=0.15)
    assert grade_width_mm(edge + 0.01, 12) == pytest.approx(beyond, rel=0.05)
    assert grade_width_mm(edge + 0.01, 12) > grade_width_mm(edge, 12)


@pytest.mark.parametrize(
    ("edge", "half_width", "within", "beyond"),
    [
        # ISO 2768-1:1989, table 1.
        (6.0, 0.1, "medium", "fine"),
        (30.0, 0.15, "medium", "fine"),
        (120.0, 0.2, "medium", "fine"),
        (400.0, 0.3, "medium", "fine"),
        (3.0, 0.3, "", "coarse"),
    ],
)
def test_general_tolerances_change_just_beyond_a_step(
    edge: float, half_width: float, within: str, beyond: str
) -> None:
    assert iso2768_class(edge, half_width) == within
    assert iso2768_class(edge + 0.01, half_width) == beyond
