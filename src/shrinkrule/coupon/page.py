"""The printable measuring page: drawings, what to do in which order, and a table to pencil in.

One self-contained HTML file for A4 or Letter; the numbers go into the CSV sheet, whose
rows carry the same ids.
"""

from __future__ import annotations

from typing import Final

from shrinkrule.cautions import CAUTIONS
from shrinkrule.coupon.design import Coupon
from shrinkrule.coupon.drawing import drawings, floor_plan, grip_drawing
from shrinkrule.coupon.fitting import Readings
from shrinkrule.coupon.piece import INSIDE_JAW_MM, JAW_DEPTH_MM, JAW_WIDTH_MM, ROD_MM
from shrinkrule.coupon.worth import cost_words
from shrinkrule.files.templates import environment
from shrinkrule.sheet import Kind, SheetLine

_GROUPS: Final = (
    ("Weights", (Kind.MASS, Kind.MASS_IN_WATER)),
    ("Lengths", (Kind.OUTSIDE, Kind.INSIDE, Kind.BORE, Kind.STEP)),
    ("Walls and floors", (Kind.WALL, Kind.FLOOR)),
    ("Sag", (Kind.BRIDGE, Kind.CANTILEVER)),
)


def measuring_page_html(coupon: Coupon) -> str:
    """Self-contained page that shows where each row of the sheet is measured.

    Parameters
    ----------
    coupon : Coupon
        The coupon.

    Returns
    -------
    str
        The page, HTML.
    """
    templates = environment("shrinkrule.coupon")
    templates.filters["number"] = _number
    plan = coupon.plan
    return templates.get_template("measuring_page.html").render(
        plan=plan,
        cautions=CAUTIONS,
        notes=(*coupon.limits, cost_words(coupon.worth), *coupon.notes),
        bars=[piece.name for piece in coupon.pieces if piece.fired_standing],
        few=plan.readings is Readings.FEW,
        grip=grip_drawing(coupon),
        drawings=drawings(coupon),
        floor=floor_plan(coupon),
        settings=[line for line in coupon.lines if line.kind is Kind.SETTING],
        groups=[(name, lines) for name, kinds in _GROUPS if (lines := _of(coupon, kinds))],
        mass_kinds=(Kind.MASS, Kind.MASS_IN_WATER),
        sag_kinds=(Kind.BRIDGE, Kind.CANTILEVER),
        jaw=(JAW_WIDTH_MM, JAW_DEPTH_MM),
        inside_jaw=INSIDE_JAW_MM,
        rod=ROD_MM,
    )


def _of(coupon: Coupon, kinds: tuple[Kind, ...]) -> list[SheetLine]:
    return [line for line in coupon.lines if line.kind in kinds]


def _number(value: float | str | None) -> str:
    return f"{value:.6g}" if isinstance(value, float | int) else str(value or "")
