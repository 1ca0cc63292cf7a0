"""From the wanted part to the green part, and back to what will come out of the furnace."""

from shrinkrule.compensation.frames import QUARTER_TURNS, WAYS_UP, turn_up, turned_about_z, way_up
from shrinkrule.compensation.masses import expected_masses
from shrinkrule.compensation.offset import OffsetMesh, offset_outlines
from shrinkrule.compensation.plate import plate_moved
from shrinkrule.compensation.predict import (
    AS_DRAWN,
    Bent,
    LayerPrediction,
    LengthPrediction,
    Prediction,
    Print,
    SizePrediction,
    expected_mm,
    predict_fired,
)
from shrinkrule.compensation.scale import (
    GreenPart,
    ScaleFactors,
    fired_mesh,
    green_part,
    oversize_factor,
    shrinkage_from_density,
)
from shrinkrule.compensation.tolerance import grade_width_mm, iso286_grade, iso2768_class
from shrinkrule.printer import LayerHeights

__all__ = [
    "AS_DRAWN",
    "QUARTER_TURNS",
    "WAYS_UP",
    "Bent",
    "GreenPart",
    "LayerHeights",
    "LayerPrediction",
    "LengthPrediction",
    "OffsetMesh",
    "Prediction",
    "Print",
    "ScaleFactors",
    "SizePrediction",
    "expected_masses",
    "expected_mm",
    "fired_mesh",
    "grade_width_mm",
    "green_part",
    "iso286_grade",
    "iso2768_class",
    "offset_outlines",
    "oversize_factor",
    "plate_moved",
    "predict_fired",
    "shrinkage_from_density",
    "turn_up",
    "turned_about_z",
    "way_up",
]
