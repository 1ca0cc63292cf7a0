"""The file's noise is the step that was used to round its coordinates."""

from __future__ import annotations

import numpy as np
import pytest

from shrinkrule.dimensions.recognition.noise import coordinate_noise
from shrinkrule.numerics.arrays import Floats


def written(points: Floats, form: str) -> Floats:
    return np.array([float(form % value) for value in points.ravel()]).reshape(points.shape)


@pytest.mark.parametrize(
    ("form", "step"),
    [("%.2f", 1e-2), ("%.3f", 1e-3), ("%.4f", 1e-4), ("%g", 1e-3), ("%.5g", 1e-2), ("%.4e", 1e-2)],
)
def test_step_of_a_rounded_file(form: str, step: float) -> None:
    """Coordinates to 180 mm: six digits leave three decimals, five leave two."""
    points = np.random.default_rng(3).uniform(-180, 180, (400, 3)) ** 3 / 180**2
    points[0] = 180.0
    assert coordinate_noise(written(points, form)) == pytest.approx(step)


def test_full_digits_leave_single_precision() -> None:
    points = np.random.default_rng(3).uniform(-100, 100, (400, 3))
    assert coordinate_noise(points) == pytest.approx(2.0**-17)


def test_round_numbers_of_a_plain_model_are_its_own() -> None:
    """A box of 20 mm is no file of whole millimetres."""
    box = np.array([[0.0, 0, 0], [20, 10, 5], [12.5, 6.25, 1.0]])
    assert coordinate_noise(box) < 1e-5


def test_unit_is_the_files() -> None:
    """Three decimals of an inch."""
    points = written(np.random.default_rng(3).uniform(0, 3, (400, 3)), "%.3f") * 25.4
    assert coordinate_noise(points, 25.4) == pytest.approx(0.0254)
