"""Predicted sizes, layers, masses and notes by hand, from a row whose axes are all unlike."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from shrinkrule import Estimate, ScaleFactors, demo_table, green_part, predict_fired, way_up
from shrinkrule.calibration import CalibrationRow, Feature
from shrinkrule.compensation import Bent, Prediction, Print, expected_masses, expected_mm
from shrinkrule.physics.interval import LengthEffect, Scatter
from shrinkrule.printer import LayerHeights

SURE = Scatter(0.003, 0.0, 0.0, math.inf)
ROW = replace(
    demo_table()[1],
    shrinkage_xy=Estimate(0.145, 0.0),
    shrinkage_x=Estimate(0.14, 0.0),
    shrinkage_y=Estimate(0.15, 0.0),
    shrinkage_z=Estimate(0.17, 0.0),
    print_scale_x=Estimate(0.01, 0.0),
    print_scale_y=Estimate(-0.02, 0.0),
    print_scale_z=Estimate(0.005, 0.0),
    parts_x=SURE,
    parts_y=replace(SURE, mean_u=0.004),
    parts_z=replace(SURE, mean_u=0.005),
    degrees_of_freedom=math.inf,
    firing_scatter_known=True,
    residual_xy_mm=0.02,
    residual_z_mm=0.02,
    residual_dof=math.inf,
    length_effect_xy=None,
    length_effect_z=None,
    first_layer_mm=Estimate(-0.2, 0.0),
    bore_offset_mm=Estimate(-0.3, 0.0),
    bore_curve_mm=Estimate(-0.1, 0.0),
    bore_at_mm=10.0,
    metal_fraction=Estimate(0.55, 0.011),
    metal_density_g_cm3=8.8,
    metal_mass_share=0.9,
    longest_xy_mm=47.0,
    longest_z_mm=20.0,
)
FACTORS = ScaleFactors(1.2, 1.25, 1.3)
MADE = Print(LayerHeights(0.3, 0.4), 0.15)
WANTED = np.array([40.0, 24.0, 10.0])
GREEN = WANTED * [1.2, 1.25, 1.3]
T95 = 1.959964


def predicted(bent: Bent | None = None, made: Print = MADE) -> Prediction:
    wanted = trimesh.creation.box(WANTED)
    return predict_fired(green_part(wanted, FACTORS, way_up("z")), ROW, wanted.volume, made, bent)


def test_each_side_goes_through_printer_layers_and_furnace_of_its_own_axis() -> None:
    """Height 13 mm and 0.15 mm below are 13.15: 0.4 and 42.5 layers, so 43, 13.3 mm with them."""
    x, y, z = predicted().sizes
    assert [x.wanted_mm, y.wanted_mm, z.wanted_mm] == pytest.approx(WANTED)
    assert [x.green_mm, y.green_mm, z.green_mm] == pytest.approx([48.0, 30.0, 13.15])
    fired = [48.0 * 1.01 * 0.86, 30.0 * 0.98 * 0.85, (13.3 * 1.005 - 0.2) * 0.83]
    assert [s.fired_mm.value for s in (x, y, z)] == pytest.approx(fired)
    # Shares of the green length and the scatter of one length, mm.
    green = [48.0 * 1.01, 30.0 * 0.98, 13.3 * 1.005]
    expected = [
        T95 * math.hypot(share * length, 0.02)
        for share, length in zip((0.003, 0.004, 0.005), green, strict=True)
    ]
    assert [s.fired_mm.half95 for s in (x, y, z)] == pytest.approx(expected, rel=1e-5)
    assert [s.beyond_calibration for s in (x, y, z)] == [True, False, False]
    assert [s.axis for s in (x, y, z)] == ["X", "Y", "Z"]


def test_layers_state_what_rounding_adds_and_which_heights_are_whole() -> None:
    layers = predicted().layers
    assert layers is not None
    assert layers.count == 44
    assert layers.layers == pytest.approx(1.0 + (13.15 - 0.4) / 0.3)
    assert layers.off_mm == pytest.approx((13.3 - 13.15) * 1.005 * 0.83)
    whole = [(0.4 + n * 0.3 - 0.15) / 1.3 for n in (42, 43, 44)]
    assert layers.whole_mm == pytest.approx(whole)
    assert predicted(made=Print()).layers is None
    low = green_part(trimesh.creation.box((20, 20, 0.3)), FACTORS, way_up("z"))
    one = predict_fired(low, ROW, 120.0, Print(LayerHeights(0.3, 0.4))).layers
    assert one is not None
    assert one.count == 1
    assert one.whole_mm == pytest.approx([0.4 / 1.3, 0.7 / 1.3])


def test_a_precurved_part_is_printed_in_its_own_box() -> None:
    """Curving adds 0.2 mm to the height, which layers round too: 13.35 mm are 43.2 layers above
    the first, 43, 13.3 mm; the fired height is that less the curve, and what of the sag is left."""
    bent = Bent(
        green_mm=np.array([48.3, 30.0, 13.2]),
        volume_mm3=19000.0,
        left_mm=np.array([0.01, -0.02, 0.03]),
        half95_mm=np.array([0.4, math.nan, 0.3]),
    )
    plain, found = predicted(), predicted(bent)
    assert [s.green_mm for s in found.sizes] == pytest.approx([48.3, 30.0, 13.2])
    fired = [
        plain.sizes[0].fired_mm.value + 0.01,
        plain.sizes[1].fired_mm.value - 0.02,
        (13.1 * 1.005 - 0.2) * 0.83 + 0.03,
    ]
    assert [s.fired_mm.value for s in found.sizes] == pytest.approx(fired)
    half_x = plain.sizes[0].fired_mm.half95
    assert half_x is not None
    assert found.sizes[0].fired_mm.half95 == pytest.approx(math.hypot(half_x, 0.4))
    assert found.sizes[1].fired_mm.half95 is None
    assert found.green_volume_mm3 == 19000.0
    assert found.lengths == plain.lengths
    assert found.layers is not None
    assert found.layers.count == 44
    assert found.layers.off_mm == pytest.approx((13.3 - 13.35) * 1.005 * 0.83)
    assert found.layers.whole_mm == ()
    unknown = replace(bent, left_mm=np.array([0.0, math.nan, 0.0]))
    assert predicted(unknown).lengths == ()


def test_usual_lengths_of_every_kind_that_a_coupon_shows() -> None:
    lengths = predicted().lengths
    kinds = [(one.axis, one.feature) for one in lengths[::3]]
    flat = [Feature.OUTSIDE, Feature.SLOT, Feature.BORE]
    assert kinds == [*(("X", f) for f in flat), *(("Y", f) for f in flat), ("Z", Feature.OUTSIDE)]
    assert [one.wanted_mm for one in lengths[:3]] == [5.0, 20.0, 60.0]
    by = {(one.axis, one.feature, one.wanted_mm): one.fired_mm.value for one in lengths}
    assert by["X", Feature.SLOT, 20.0] == pytest.approx(24.0 * 1.01 * 0.86)
    # A bore of 25 mm in the mesh: -0.3 - 0.1 (10 / 25 - 1) mm green, 0.85 of it fired.
    assert by["Y", Feature.BORE, 20.0] == pytest.approx((25.0 * 0.98 - 0.3 + 0.06) * 0.85)
    # 26 mm and 0.15: 0.4 and 85.83 layers of 0.3, 86.
    assert by["Z", Feature.OUTSIDE, 20.0] == pytest.approx(((0.4 + 25.8) * 1.005 - 0.2) * 0.83)
    # A step is no height from the plate: neither layers nor the first one are in it.
    assert expected_mm(ROW, "z", 5.0, Feature.STEP, MADE) == pytest.approx(5.0 * 1.005 * 0.83)


def test_volume_and_masses_from_stage_to_stage() -> None:
    result = predicted()
    green = 9600.0 * 1.2 * 1.25 * 1.3
    assert result.green_volume_mm3 == pytest.approx(green)
    fired = green * 1.01 * 0.86 * 0.98 * 0.85 * 1.005 * 0.83
    assert result.fired_volume_mm3.value == pytest.approx(fired)
    # X and Y shrink together: their relative spreads add.
    spread = math.hypot(0.003 / 0.86 + 0.004 / 0.85, 0.005 / 0.83)
    assert result.fired_volume_mm3.half95 == pytest.approx(T95 * spread * fired, rel=1e-5)
    metal = green * 1.01 * 0.98 * 1.005 * 0.55 * 8.8e-3
    assert result.fired_mass_g is not None
    assert result.fired_mass_g.value == pytest.approx(metal)
    assert result.fired_mass_g.half95 == pytest.approx(T95 * 0.02 * metal, rel=1e-5)
    assert result.debound_mass_g == result.fired_mass_g
    assert result.green_mass_g is not None
    assert result.green_mass_g.value == pytest.approx(metal / 0.9)
    assert result.green_mass_g.half95 == pytest.approx(T95 * 0.02 * metal / 0.9, rel=1e-5)
    by_hand = predict_fired(
        green_part(trimesh.creation.box(WANTED), FACTORS, way_up("z")), None, 9600.0
    )
    assert by_hand.fired_volume_mm3.value == pytest.approx(9600.0)
    assert by_hand.fired_volume_mm3.half95 is None


@pytest.mark.parametrize(
    "bare", [replace(ROW, metal_fraction=None), replace(ROW, metal_density_g_cm3=None)]
)
def test_without_either_number_there_are_no_masses(bare: CalibrationRow) -> None:
    assert expected_masses(1000.0, bare) == (None, None, None)
    wanted = trimesh.creation.box(WANTED)
    notes = predict_fired(green_part(wanted, FACTORS, way_up("z")), bare, 9600.0).notes
    assert any("masses are not predicted" in note for note in notes)
    assert not any("masses are not predicted" in note for note in predicted().notes)


def test_a_single_firing_promises_nothing_but_expects_the_same() -> None:
    one = replace(ROW, firing_scatter_known=False)
    wanted = trimesh.creation.box(WANTED)
    result = predict_fired(green_part(wanted, FACTORS, way_up("z")), one, 9600.0, MADE)
    assert result.fired_volume_mm3 == replace(predicted().fired_volume_mm3, half95=None)
    assert result.sizes[0].fired_mm == replace(predicted().sizes[0].fired_mm, half95=None)
    _, _, mass = expected_masses(1000.0, one)
    assert mass is not None
    assert mass.half95 is None


def bent(xy_mm: float | None, z_mm: float | None) -> CalibrationRow:
    """The row with lengths of nought that fire to so much, along XY and Z."""
    effects = [None if b is None else LengthEffect(Estimate(b, 0.01), 40.0) for b in (xy_mm, z_mm)]
    return replace(ROW, length_effect_xy=effects[0], length_effect_z=effects[1])


@pytest.mark.parametrize(("bend", "word"), [(0.25, "0.25 mm larger"), (-0.4, "0.40 mm smaller")])
def test_what_length_does_is_said_of_the_axis_it_is_shown_on(bend: float, word: str) -> None:
    wanted = trimesh.creation.box(WANTED)
    green = green_part(wanted, FACTORS, way_up("z"))
    for row, name in ((bent(bend, 0.0), "in XY"), (bent(0.0, bend), "in Z"), (bent(0, None), "")):
        notes = predict_fired(green, row, 9600.0).notes
        said = [note for note in notes if note.startswith("in ")]
        assert [note.startswith(name) and word in note for note in said] == [True] * bool(name)


def test_a_layer_more_makes_what_the_bent_line_makes_of_it() -> None:
    """fired = 0.83 green + b (1 - green / 40): a green mm more makes 0.83 - b / 40."""
    green = green_part(trimesh.creation.box(WANTED), FACTORS, way_up("z"))
    layers = predict_fired(green, bent(None, 2.0), 9600.0, MADE).layers
    assert layers is not None
    assert layers.off_mm == pytest.approx((13.3 - 13.15) * 1.005 * (0.83 - 2.0 / 40.0))
