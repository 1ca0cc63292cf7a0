"""Beams out of a sheet, number by number: what printing and shrinking make of span and depth."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, sqrt

import pytest

from shrinkrule.calibration.fit.beams import FiredCoupon, beams_of, fit_bars
from shrinkrule.calibration.fit.sag import Beam
from shrinkrule.calibration.sheets.sheet import Reading, Sheet, SheetSettings
from shrinkrule.errors import SheetError
from shrinkrule.physics.beam import Support, beam_drop_mm
from shrinkrule.physics.estimate import Estimate
from shrinkrule.sheet import Kind

HEAD = SheetSettings(
    coupon="1",
    firing="f1",
    date="",
    material="",
    process="",
    metal_density=8.8,
    binder_density=1.1,
    metal_mass_share=0.9,
    caliper_resolution=0.01,
    gauge_resolution=0.05,
    balance_resolution=0.01,
    water_density=None,
    nozzle=None,
    bead_width=None,
    layer_height=None,
    weighed_volume=None,
    weighed_surface=None,
    thickest_section=None,
)
COUPON = FiredCoupon(3, 0.85, Estimate(0.05, 0.004), 0.03, 7.9)
READING = Reading(9, "B1", "span", Kind.BRIDGE, "x", 30.0, 2.0, (0.1, 0.2), None, (0.9, 1.1, 1.0))
TOOTH = Reading(5, "T1", "depth", Kind.OUTSIDE, "x", 2.0, None, (2.1,), None, (1.8, 1.82))


def sheet_of(*readings: Reading, head: SheetSettings = HEAD) -> Sheet:
    return Sheet("s.csv", head, readings, ())


def beam(*readings: Reading) -> Beam:
    (one,) = beams_of(sheet_of(*readings), COUPON)
    return one


def test_a_bridge_is_printed_short_and_an_arm_is_not() -> None:
    """Both ends of a bridge spread into its span by 0.05 mm; then 0.85 of it is left."""
    one = beam(READING)
    assert one.coupon == 3
    assert one.density_g_cm3 == 7.9
    assert one.support is Support.BOTH_BUILT_IN
    assert one.span_mm == pytest.approx((30.0 - 0.1) * 0.85)
    arm = beam(replace(READING, id="C1", kind=Kind.CANTILEVER))
    assert arm.support is Support.ONE_BUILT_IN
    assert arm.span_mm == pytest.approx(30.0 * 0.85)


def test_depth_is_measured_where_a_line_of_its_size_is() -> None:
    computed = beam(READING)
    assert computed.depth_mm == pytest.approx((2.0 + 0.1) * 0.85)
    assert computed.depth_u_mm == pytest.approx(hypot(0.008, 0.06))
    for nominal, measured in ((2.0, True), (2.01, True), (2.02, False), (1.98, False)):
        one = beam(READING, replace(TOOTH, nominal=nominal))
        assert one.depth_mm == pytest.approx(1.81 if measured else 2.1 * 0.85)
        assert one.depth_u_mm == pytest.approx(0.03 if measured else hypot(0.008, 0.06))
    assert beam(READING, replace(TOOTH, fired=())).depth_mm == pytest.approx(2.1 * 0.85)


def test_a_drop_is_that_of_the_firing_with_the_scatter_of_its_readings() -> None:
    """1.0 less 0.15 mm; repeats scatter by 0.1 / sqrt 3 and sqrt(0.005) / sqrt 2 of their means,
    both more than the gauge's 0.05 / sqrt 12."""
    one = beam(READING)
    assert one.drop_mm == pytest.approx(0.85)
    assert one.drop_u_mm == pytest.approx(hypot(0.1 / sqrt(3.0), sqrt(0.005) / sqrt(2.0)))
    single = beam(replace(READING, green=(), fired=(0.9,)))
    assert single.drop_mm == pytest.approx(0.9)
    assert single.drop_u_mm == pytest.approx(0.05 / sqrt(12.0))


def test_beams_that_say_nothing_are_refused_or_left_out() -> None:
    assert beam(READING).refused == ""
    assert beam(replace(READING, fired=(), remark="broken")).refused == "broken"
    for fired in (0.15, 0.1):
        still = replace(READING, green=(0.15,), fired=(fired,))
        assert beam(still).refused == "it did not drop"
    assert "is missing" in beam(replace(READING, nominal=None)).refused
    assert "is missing" in beam(replace(READING, thickness=None)).refused
    assert beams_of(sheet_of(replace(READING, fired=())), COUPON) == ()


def test_bars_alone_weigh_what_the_filament_brought() -> None:
    """Thicknesses keep 1.8 of 2.1 and 2.7 of 3.1 mm; spread is 0.05 a side. The metal's share by
    volume is 0.9 / 8.8 over 0.9 / 8.8 + 0.1 / 1.1, which the kept volume makes denser."""
    teeth = (
        replace(TOOTH, fired=(1.8,)),
        replace(TOOTH, id="T2", nominal=3.0, green=(3.1,), fired=(2.7,)),
    )
    kept = 0.5 * (1.8 / 2.1 + 2.7 / 3.1)
    share = (0.9 / 8.8) / (0.9 / 8.8 + 0.1 / 1.1)
    density = 8.8 * share / kept**3
    span = (30.0 - 0.1) * kept
    drop = beam_drop_mm(Support.BOTH_BUILT_IN, span, 1.8, 500.0, density)
    line = replace(READING, green=(0.0,), fired=(drop,))
    (one,) = fit_bars([sheet_of(line, *teeth)]).beams
    assert one.coupon == 0
    assert one.span_mm == pytest.approx(span)
    assert one.density_g_cm3 == pytest.approx(density)
    assert one.depth_mm == pytest.approx(1.8)
    # No block shows how single lengths scatter: the usual 0.02 mm, more than a fine caliper's step.
    assert one.depth_u_mm == 0.02
    assert fit_bars([sheet_of(line, *teeth)]).modulus_kpa == pytest.approx(500.0)
    # A beam of another depth: two surfaces, each as unsure as half of the caliper's step.
    other = replace(line, thickness=2.5)
    (one,) = fit_bars([sheet_of(other, *teeth)]).beams
    assert one.depth_mm == pytest.approx((2.5 + 0.1) * kept)
    assert one.depth_u_mm == pytest.approx(hypot(0.01 / sqrt(12.0), 0.04))
    # What was measured green alone shows no shrinkage.
    unfired = replace(TOOTH, id="T3", nominal=4.0, green=(9.0,), fired=())
    assert fit_bars([sheet_of(other, *teeth, unfired)]).beams == (one,)
    coarse = replace(HEAD, caliper_resolution=0.1)
    (one,) = fit_bars([sheet_of(line, *teeth, head=coarse)]).beams
    assert one.depth_u_mm == pytest.approx(0.1 / sqrt(12.0))


def test_bars_are_refused_without_what_they_weigh_by() -> None:
    line = replace(READING, fired=(1.0,))
    for head in (
        replace(HEAD, metal_density=None),
        replace(HEAD, binder_density=None),
        replace(HEAD, metal_mass_share=None),
    ):
        with pytest.raises(SheetError, match="have no density"):
            fit_bars([sheet_of(line, TOOTH, head=head)])
    with pytest.raises(SheetError, match="no thickness of a beam"):
        fit_bars([sheet_of(line)])
    with pytest.raises(SheetError, match="drops that can be used"):
        fit_bars([sheet_of(replace(line, fired=(), remark="broken"), TOOTH)])
