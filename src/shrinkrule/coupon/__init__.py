"""The calibration coupon: a print that separates scale, bead spread, thin walls and sag.

Sized for one printer and one furnace, with the measuring sheet that goes with it.
"""

from shrinkrule.coupon.design import Coupon, design_coupon
from shrinkrule.coupon.fitting import CouponPlan, Readings
from shrinkrule.coupon.output import coupon_dict, coupon_paths, write_coupon
from shrinkrule.coupon.page import measuring_page_html
from shrinkrule.coupon.piece import Dimension, Piece, Tool
from shrinkrule.coupon.worth import Worth, cost_words

__all__ = [
    "Coupon",
    "CouponPlan",
    "Dimension",
    "Piece",
    "Readings",
    "Tool",
    "Worth",
    "cost_words",
    "coupon_dict",
    "coupon_paths",
    "design_coupon",
    "measuring_page_html",
    "write_coupon",
]
