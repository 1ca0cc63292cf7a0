"""From the wanted part to the green part, and back to what will come out of the furnace."""

from shrinkrule.compensation.frames import WAYS_UP, turn_up, way_up
from shrinkrule.compensation.offset import OffsetMesh, offset_outlines
from shrinkrule.compensation.predict import Interval, Prediction, SizePrediction, predict_fired
from shrinkrule.compensation.scale import (
    GreenPart,
    ScaleFactors,
    fired_mesh,
    green_part,
    oversize_factor,
    shrinkage_from_density,
)
from shrinkrule.compensation.tolerance import grade_width_mm, iso286_grade, iso2768_class

__all__ = [
    "WAYS_UP",
    "GreenPart",
    "Interval",
    "OffsetMesh",
    "Prediction",
    "ScaleFactors",
    "SizePrediction",
    "fired_mesh",
    "grade_width_mm",
    "green_part",
    "iso286_grade",
    "iso2768_class",
    "offset_outlines",
    "oversize_factor",
    "predict_fired",
    "shrinkage_from_density",
    "turn_up",
    "way_up",
]
