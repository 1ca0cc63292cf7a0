"""Wanted heights that come out whole do so with what is added against the first layer."""

from __future__ import annotations

import pytest
import trimesh

from shrinkrule import ScaleFactors, green_part, predict_fired, way_up
from shrinkrule.compensation.predict import Print
from shrinkrule.printer import LayerHeights


@pytest.mark.parametrize("plate_mm", [0.0, 0.1, -0.1])
def test_whole_heights_scaled_and_with_the_plate_are_whole_layers(plate_mm: float) -> None:
    """First layer 0.4 mm, others 0.3 mm: (height times factor + plate - 0.4) / 0.3 is whole."""
    factors = ScaleFactors.from_shrinkage(0.15, 0.16)
    green = green_part(trimesh.creation.box((20.0, 20.0, 10.0)), factors, way_up("z"))
    made = Print(LayerHeights(0.3, 0.4), plate_mm)
    layers = predict_fired(green, None, 4000.0, made).layers
    assert layers is not None
    counts = [1 + (h * factors.z + plate_mm - 0.4) / 0.3 for h in layers.whole_mm]
    assert counts == pytest.approx([layers.count - 1, layers.count, layers.count + 1], abs=1e-9)


def test_without_a_row_layers_round_the_height_and_no_other_side() -> None:
    """10 mm / 0.84 is 11.905 mm: a first layer of 0.4 mm and 38 of 0.3 mm, 11.8 mm, of which
    9.912 mm are left."""
    factors = ScaleFactors.from_shrinkage(0.15, 0.16)
    green = green_part(trimesh.creation.box((20.0, 15.0, 10.0)), factors, way_up("z"))
    sizes = predict_fired(green, None, 3000.0, Print(LayerHeights(0.3, 0.4), 0.0)).sizes
    assert [size.fired_mm.value for size in sizes] == pytest.approx([20.0, 15.0, 11.8 * 0.84])
