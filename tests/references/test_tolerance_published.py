"""Tolerance classes against ISO 286-1 and ISO 2768-1."""

from __future__ import annotations

import pytest

from shrinkrule.compensation import grade_width_mm, iso286_grade, iso2768_class


@pytest.mark.parametrize(
    ("size", "grade", "micrometres"),
    [
        # ISO 286-1 formula, step 30 to 50 mm: IT7 .. IT13 (printed: 25 39 62 100 160 250 390).
        (40, 7, 25.0), (40, 8, 39.0), (40, 9, 62.4), (40, 10, 99.9), (40, 12, 249.8),
        (40, 13, 390.3),
        # Other steps, recomputed from the formula with multipliers from memory.
        (8, 7, 14.4), (8, 12, 143.7), (14, 13, 270.7), (25, 12, 326.8 * 0.64),
        (100, 14, 869.0), (2, 12, 86.7),
    ],
)  # fmt: skip
def test_grade_widths(size: float, grade: int, micrometres: float) -> None:
    """Tolerance: half of the last digit given."""
    assert 1000 * grade_width_mm(size, grade) == pytest.approx(micrometres, abs=0.06)


def test_published_it14_values() -> None:
    """IT14 is 0.36 mm at 10 mm and 0.87 mm at 100 mm in the printed table."""
    assert grade_width_mm(10.0, 14) == pytest.approx(0.36, abs=0.005)
    assert grade_width_mm(100.0, 14) == pytest.approx(0.87, abs=0.005)


@pytest.mark.parametrize(
    ("size", "half_width", "name"),
    [
        # ISO 2768-1:1989 table 1; bands are "over ... up to and including".
        (30, 0.2, "medium"), (30.01, 0.3, "medium"), (120, 0.3, "medium"), (120.5, 0.5, "medium"),
        (3, 0.05, "fine"), (6, 0.3, "coarse"), (3, 0.3, ""), (4, 0.5, "very coarse"),
        (400, 0.2, "fine"), (400, 2.6, ""), (0.4, 0.01, ""),
    ],
)  # fmt: skip
def test_general_tolerances(size: float, half_width: float, name: str) -> None:
    assert iso2768_class(size, half_width) == name


@pytest.mark.parametrize("size", [0.7, 5.0, 40.0, 250.0, 499.0])
def test_the_named_grade_holds_the_interval_and_the_next_finer_does_not(size: float) -> None:
    for half_width in (0.01, 0.08, 0.3):
        grade = int(iso286_grade(size, half_width).removeprefix("IT"))
        assert grade_width_mm(size, grade) >= 2 * half_width
        if grade > 5:
            assert grade_width_mm(size, grade - 1) < 2 * half_width


def test_no_class_beyond_the_tables() -> None:
    assert iso286_grade(501.0, 0.1) == ""
    assert iso286_grade(40.0, 100.0) == ""
    assert iso2768_class(1001.0, 0.1) == ""
