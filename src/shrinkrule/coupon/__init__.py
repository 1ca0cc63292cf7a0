"""The calibration coupon: a print that tells scale, bead spread, thin walls and sag apart.

Sized for one printer and one furnace, with the measuring sheet that goes with it.
"""

from shrinkrule.coupon.design import Coupon, CouponPlan, design_coupon
from shrinkrule.coupon.furnace import (
    BoxFurnace,
    CrucibleFurnace,
    Furnace,
    parse_box,
    parse_crucible,
)
from shrinkrule.coupon.output import coupon_dict, coupon_paths, write_coupon
from shrinkrule.coupon.page import measuring_page_html
from shrinkrule.coupon.piece import Dimension, Piece, Tool

__all__ = [
    "BoxFurnace",
    "Coupon",
    "CouponPlan",
    "CrucibleFurnace",
    "Dimension",
    "Furnace",
    "Piece",
    "Tool",
    "coupon_dict",
    "coupon_paths",
    "design_coupon",
    "measuring_page_html",
    "parse_box",
    "parse_crucible",
    "write_coupon",
]
