"""Bead spread, axis errors, first layer, bores and zero, told apart by the features of a coupon."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shrinkrule.calibration.fit.lengths import Lengths, lengths_along
from shrinkrule.calibration.fit.printing import PrintingFit, fit_printing
from shrinkrule.calibration.sheets.sheet import Reading, Sheet, SheetSettings
from shrinkrule.numerics.arrays import Floats
from shrinkrule.sheet import Kind

FLAT = np.array([42.0, 28.5, 16.5, 8.0, 6.0, 8.0, 8.5, 13.5, 12.0, 8.5, 6.0, 10.0])
SIDE = np.array([1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0, 0.0, 0.0, 0.0, -1.0, -1.0])
BORE = np.array([0.0] * 10 + [1.0, 1.0])
HIGH = np.array([4.8, 4.8, 7.8, 11.4, 16.8, 24.0, 9.0, 3.0])
FROM_PLATE = np.array([1.0] * 6 + [0.0, 0.0])


SETTINGS = SheetSettings(
    coupon="1", firing="1", date="", material="invented", process="", metal_density=None,
    binder_density=None, metal_mass_share=None, caliper_resolution=0.01, gauge_resolution=0.05,
    balance_resolution=0.01, water_density=None, nozzle=None, bead_width=None, layer_height=None,
    weighed_volume=None, weighed_surface=None, thickest_section=None,
)  # fmt: skip


def settings_of(layer_mm: float, first_mm: float | None) -> SheetSettings:
    return replace(SETTINGS, layer_height=layer_mm, first_layer=first_mm)


def reading(mark: str, kind: Kind, model: float, green: float) -> Reading:
    return Reading(1, mark, "", kind, "z", model, None, (green,), None, (0.85 * green,))


def lengths(model: Floats, green: Floats, side: Floats, bore: Floats) -> Lengths:
    wide = np.broadcast_to(model, green.shape)
    one = np.ones_like(green)
    return Lengths((), wide, wide, green, 0.85 * green, side * one, bore * one, one)


def printed(
    scales: tuple[float, float, float],
    bead: float = 0.0,
    bore: float = 0.0,
    plate: float = 0.0,
    zero: float = 0.0,
    noise: Floats | None = None,
) -> PrintingFit:
    coupons = 1 if noise is None else noise.shape[0]
    off = np.zeros((coupons, 32)) if noise is None else noise
    flat = [
        (1.0 + scale) * FLAT + 2.0 * bead * SIDE + bore * BORE + zero + off[:, start : start + 12]
        for scale, start in ((scales[0], 0), (scales[1], 12))
    ]
    high = (1.0 + scales[2]) * HIGH + plate * FROM_PLATE + zero + off[:, 24:]
    x, y = (lengths(FLAT, green, SIDE, BORE) for green in flat)
    return fit_printing((x, y, lengths(HIGH, high, FROM_PLATE, np.zeros(8))))


SMALL = st.floats(-0.2, 0.2)


@settings(max_examples=30)
@given(SMALL, SMALL, SMALL, SMALL, st.floats(-0.01, 0.01), st.floats(-0.01, 0.01))
def test_exact_lengths_give_back_what_made_them(
    bead: float, bore: float, plate: float, zero: float, along_x: float, along_y: float
) -> None:
    fit = printed((along_x, along_y, 0.003), bead, bore, plate, zero)
    assert fit.first_layer is not None
    assert fit.bore is not None
    assert fit.zero is not None
    found = [*(scale.value for scale in fit.scales), fit.bead.value, fit.bore.value]
    found += [fit.first_layer.value, fit.zero.value]
    assert found == pytest.approx([along_x, along_y, 0.003, bead, bore, plate, zero], abs=1e-10)


def test_stated_uncertainties_are_the_scatter_over_many_prints() -> None:
    """Intervals of 95 % hold 95 %, within three standard errors of 1500 prints."""
    rng = np.random.default_rng(4)
    held = []
    for _ in range(1500):
        fit = printed((0.0, 0.0, 0.0), 0.04, -0.05, -0.1, 0.0, rng.normal(0.0, 0.02, (2, 32)))
        assert fit.bore is not None
        assert fit.first_layer is not None
        truths = (
            (fit.bead, 0.04),
            (fit.bore, -0.05),
            (fit.first_layer, -0.1),
            (fit.scales[0], 0.0),
        )
        held.append([abs(e.value - true) <= e.half_width() for e, true in truths])
    assert np.mean(held, axis=0) == pytest.approx([0.95] * 4, abs=0.017)


def test_a_first_layer_that_differs_from_print_to_print_is_unsure_for_the_next() -> None:
    rng = np.random.default_rng(5)
    off = rng.normal(0.0, 0.005, (40, 32))
    off[:, 24:] += FROM_PLATE * rng.normal(0.0, 0.06, (40, 1))
    fit = printed((0.0, 0.0, 0.0), 0.0, 0.0, -0.1, 0.0, off)
    assert fit.next_first_layer is not None
    # The standard deviation of 40 prints is known to 11 %.
    assert fit.next_first_layer.u == pytest.approx(0.06, rel=0.35)


def test_without_bores_there_is_no_offset_of_bores() -> None:
    side = SIDE[:10]
    flat = lengths(FLAT[:10], (FLAT[:10] + 0.08 * side)[None], side, np.zeros(10))
    fit = fit_printing((flat, flat, lengths(HIGH, HIGH[None], FROM_PLATE, np.zeros(8))))
    assert fit.bore is None
    assert fit.bead.value == pytest.approx(0.04)


@pytest.mark.parametrize(
    ("layer_mm", "first_mm"), [(0.25, None), (0.37, None), (0.4, None), (0.3, 0.2), (0.25, 0.35)]
)
def test_heights_of_the_model_are_printed_in_whole_layers(
    layer_mm: float, first_mm: float | None
) -> None:
    """A printer without any error, whose layers do not divide the coupon's heights.

    Layer by layer, as a slicer cuts: a layer is there where its middle is below the top.
    """

    def top_mm(height: float) -> float:
        first = layer_mm if first_mm is None else first_mm
        above = first + layer_mm * (np.arange(200) + 0.5)
        return first + layer_mm * int(np.count_nonzero(above < height))

    tops = (4.8, 7.7, 11.6, 16.9, 23.9)
    assert any(abs(top_mm(top) - top) > 0.15 * layer_mm for top in tops)
    readings = [
        reading(f"Z{n}", Kind.OUTSIDE, top, top_mm(top)) for n, top in enumerate(tops, start=1)
    ]
    readings += [
        reading(f"Z{n + 6}", Kind.STEP, high - low, top_mm(high) - top_mm(low))
        for n, (low, high) in enumerate(itertools.pairwise(tops))
    ]
    sheet = Sheet("a.csv", settings_of(layer_mm, first_mm), tuple(readings), ())
    flat = lengths(FLAT, FLAT[None, :], SIDE, BORE)
    told, silent = (
        fit_printing((flat, flat, lengths_along([one], "z")))
        for one in (sheet, replace(sheet, settings=SETTINGS))
    )
    assert told.first_layer is not None
    assert silent.first_layer is not None
    assert told.first_layer.value == pytest.approx(0.0, abs=1e-9)
    assert told.scales[2].value == pytest.approx(0.0, abs=1e-9)
    assert told.residual_sd[1] == pytest.approx(0.0, abs=1e-9)
    assert silent.residual_sd[1] > 0.01


def test_bores_of_several_diameters_tell_how_tightness_goes_with_curvature() -> None:
    """0.06 mm at any diameter and 0.4 mm2 over it are given back for each diameter."""
    flat = np.array([42.0, 28.5, 16.5, 8.0, 6.0, 8.0, 13.5, 6.0, 3.5, 2.5])
    side = np.array([1.0] * 4 + [-1.0, -1.0, 0.0, -1.0, -1.0, -1.0])
    bore = np.array([0.0] * 7 + [1.0] * 3)
    tight = np.where(bore > 0.0, -0.06 - 0.4 / flat, 0.0)
    x = lengths(flat, (1.002 * flat + 0.08 * side + tight)[None, :], side, bore)
    fit = fit_printing((x, x, lengths(HIGH, HIGH[None, :], FROM_PLATE, np.zeros(8))))
    assert fit.bore is not None
    assert fit.bore_curve is not None
    at = fit.bore_at_mm or 0.0
    assert at == pytest.approx(3.0 / (1.0 / 6.0 + 1.0 / 3.5 + 1.0 / 2.5))
    for diameter in (2.5, 5.0, 60.0):
        found = fit.bore.value + fit.bore_curve.value * (at / diameter - 1.0)
        assert found == pytest.approx(-0.06 - 0.4 / diameter, abs=1e-9)
    two_diameters = printed((0.0, 0.0, 0.0), bore=-0.1, noise=np.zeros((1, 32)))
    assert two_diameters.bore_curve is not None, "6 and 10 mm"


def test_a_print_without_bores_leaves_what_others_tell_of_them() -> None:
    """Of two prints one has no bores: the offset is that of the other, the bead that of both."""
    weight = np.stack([np.ones_like(FLAT), np.where(BORE > 0.0, 0.0, 1.0)])
    green = np.stack([FLAT + 2.0 * bead * SIDE - 0.1 * BORE for bead in (0.03, 0.05)])
    flat = replace(lengths(FLAT, green, SIDE, BORE), weight=weight)
    high = lengths(HIGH, np.stack([HIGH, HIGH]), FROM_PLATE, np.zeros(8))
    fit = fit_printing((flat, flat, high))
    assert fit.bore is not None
    assert fit.bore.value == pytest.approx(-0.1, abs=1e-9)
    assert fit.bead.value == pytest.approx(0.04, abs=1e-9)
