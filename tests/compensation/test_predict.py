"""Predicted sizes, volumes and masses, against simulation and conservation of metal."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from old_rows import old_row
from shrinkrule import Estimate, ScaleFactors, demo_table, green_part, predict_fired, way_up
from shrinkrule.calibration import CalibrationRow, Interval
from shrinkrule.compensation import Prediction

ROW = demo_table()[1]
OLD = old_row(ROW)


def half(interval: Interval | None) -> float:
    assert interval is not None
    assert interval.half95 is not None
    return interval.half95


def grams(interval: Interval | None) -> float:
    assert interval is not None
    return interval.value


def predicted(row: CalibrationRow, wanted: trimesh.Trimesh) -> Prediction:
    factors = ScaleFactors.from_shrinkage(row.shrinkage_xy.value, row.shrinkage_z.value)
    return predict_fired(green_part(wanted, factors, way_up("z")), row, wanted.volume)


def test_mean_sizes_are_the_wanted_ones() -> None:
    wanted = trimesh.creation.box((40, 25, 10))
    result = predicted(ROW, wanted)
    assert [s.fired_mm.value for s in result.sizes] == pytest.approx([40, 25, 10])
    assert result.fired_volume_mm3.value == pytest.approx(wanted.volume)


def test_intervals_cover_simulated_parts() -> None:
    """Batches drawn from the row's uncertainty, parts from its scatter: 95 % fall inside.

    40 000 draws leave a standard error of 0.11 %; the first-order volume interval may
    be off by the square of a 0.5 % relative spread, which is far less.
    """
    exact = replace(OLD, degrees_of_freedom=math.inf)
    wanted = trimesh.creation.box((40, 25, 10))
    result = predicted(exact, wanted)
    rng = np.random.default_rng(3)
    n = 40_000
    xy = exact.shrinkage_xy.value + rng.normal(0, exact.shrinkage_xy.u, n)
    xy += rng.normal(0, exact.scatter_xy, n)
    z = exact.shrinkage_z.value + rng.normal(0, exact.shrinkage_z.u, n)
    z += rng.normal(0, exact.scatter_z, n)
    for size, fired in zip(
        result.sizes,
        (result.sizes[0].green_mm * (1 - xy), result.sizes[1].green_mm * (1 - xy),
         result.sizes[2].green_mm * (1 - z)),
        strict=True,
    ):  # fmt: skip
        inside = np.abs(fired - size.fired_mm.value) <= half(size.fired_mm)
        assert inside.mean() == pytest.approx(0.95, abs=0.005)
    volume = result.green_volume_mm3 * (1 - xy) ** 2 * (1 - z)
    inside = np.abs(volume - result.fired_volume_mm3.value) <= half(result.fired_volume_mm3)
    assert inside.mean() == pytest.approx(0.95, abs=0.005)


def test_few_degrees_of_freedom_widen_the_interval_as_student_says() -> None:
    """t(0.975) is 2.306 at 8 and 1.960 at infinity (any table of Student's t)."""
    wanted = trimesh.creation.box((40, 25, 10))
    few = predicted(replace(OLD, degrees_of_freedom=8.0), wanted).sizes[0].fired_mm
    many = predicted(replace(OLD, degrees_of_freedom=math.inf), wanted).sizes[0].fired_mm
    assert half(few) / half(many) == pytest.approx(2.306 / 1.960, rel=1e-3)


def test_metal_is_conserved_through_the_stages() -> None:
    """Debound and fired mass are the metal of the green part; fired density is the row's.

    The demo row's shrinkages are rounded to 0.01 %, which moves volume by 0.03 % at most.
    """
    wanted = trimesh.creation.box((40, 25, 10))
    result = predicted(ROW, wanted)
    assert result.debound_mass_g == result.fired_mass_g
    assert grams(result.green_mass_g) * 0.9 == pytest.approx(grams(result.fired_mass_g))
    density = grams(result.fired_mass_g) / (result.fired_volume_mm3.value * 1e-3)
    assert density == pytest.approx(0.90 * 8.80, rel=5e-4)


def test_what_the_row_does_not_know_is_not_predicted() -> None:
    wanted = trimesh.creation.box((40, 25, 10))
    bare = replace(ROW, metal_fraction=None, firing_scatter_known=False)
    result = predicted(bare, wanted)
    assert result.green_mass_g is None
    assert any("masses are not predicted" in note for note in result.notes)
    assert any("one firing" in note for note in result.notes)


def test_lengths_beyond_the_coupon_are_named() -> None:
    result = predicted(ROW, trimesh.creation.box((90, 25, 10)))
    assert [size.beyond_calibration for size in result.sizes] == [True, False, False]
    assert any("X is longer than" in note for note in result.notes)


def test_factors_by_hand_have_no_interval() -> None:
    wanted = trimesh.creation.box((40, 25, 10))
    green = green_part(wanted, ScaleFactors.alike(1.19, 1.22), way_up("z"))
    result = predict_fired(green, None, wanted.volume)
    assert result.sizes[0].fired_mm.half95 is None
    assert result.sizes[0].iso286 == ""
    assert "no interval" in result.notes[0]


def test_the_class_holds_the_interval_about_the_wanted_size() -> None:
    """A green part scaled for another row misses its size, and the class must tell."""
    wanted = trimesh.creation.box((40, 25, 10))
    more = Estimate(ROW.shrinkage_xy.value + 0.02, 0.001)
    other = replace(ROW, shrinkage_xy=more, shrinkage_x=more, shrinkage_y=more)
    factors = ScaleFactors.from_shrinkage(other.shrinkage_xy.value, other.shrinkage_z.value)
    green = green_part(wanted, factors, way_up("z"))
    right = predict_fired(green, other, wanted.volume).sizes[0]
    wrong = predict_fired(green, ROW, wanted.volume).sizes[0]
    assert wrong.fired_mm.value > 40.5
    assert int(wrong.iso286[2:]) > int(right.iso286[2:])
