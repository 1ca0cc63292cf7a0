"""Rows as tables held them before each axis had columns of its own."""

from __future__ import annotations

import math
from dataclasses import replace

from shrinkrule import CalibrationRow


def old_row(row: CalibrationRow) -> CalibrationRow:
    """The row without all that only newer tables hold."""
    return replace(
        row,
        residual_xy_mm=0.0,
        residual_z_mm=0.0,
        residual_dof=math.inf,
        shrinkage_x=None,
        shrinkage_y=None,
        print_scale_x=None,
        print_scale_y=None,
        print_scale_z=None,
        parts_x=None,
        parts_y=None,
        parts_z=None,
        first_layer_mm=None,
        bore_offset_mm=None,
        length_effect_xy=None,
        length_effect_z=None,
    )
