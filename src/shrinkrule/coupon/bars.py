"""Sag bars: beams built in at both ends, and one arm, whose drop gives the sag modulus.

A bar is a flat plate with a window, printed lying so that nothing bridges, and turned
up on its rail before firing so that the beam above the window sags. The beam's top is
flush with the posts: a straightedge across two posts and a feeler read the drop.

A post is not a wall: its root gives way, which a slender-beam formula does not know
and which lets a bare built-in beam drop half as much again. A gusset under each root
takes that off again, so that the formula holds over the clear span (docs/coupon.md).
"""

from __future__ import annotations

from math import ceil
from typing import Final

import numpy as np

from shrinkrule.coupon.piece import Dimension, Piece, Point, Tool
from shrinkrule.coupon.solid import Ring, as_hole, chamfered_prism, foot_chamfer, to_mesh
from shrinkrule.coupon.spans import BRIDGE_IDS, CANTILEVER_ID, THICK_ID, THICK_RATIO, SagSpans
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind, SheetLine

GUSSET_DEPTHS: Final = (0.64, 6.2)
"""Leg of a bridge's gussets in depths: the first, and the second times depth over span.

Found by plane finite elements of the whole bar; the tests repeat them.
"""
BALANCED_DEPTHS: Final = 0.12
"""Taken off these legs where a cantilever beyond the post holds it upright."""
ARM_GUSSET_DEPTHS: Final = 0.92
"""Leg of the cantilever's gusset in depths, found in the same way."""
POST_DEPTHS: Final = 3.5
"""Width of a post in depths of the beam: it turns some 40 times less than the beam."""
WINDOW_MM: Final = 6.0
"""Least height under a beam: it may drop 2 mm and a jaw's tip still goes in."""
BELOW_GUSSET_MM: Final = 1.0
"""Upright face of a post left below its gussets: there the clear span begins."""
RAIL_MM: Final = 4.0
"""Height of the rail the bar stands on."""
WIDTH_MM: Final = 6.0
"""Thickness of a bar as printed, its width as it stands: half its height, so it stands well."""
ARROW_MM: Final = 3.5
"""Side of the arrow-shaped hole that points up."""


def post_mm(depth: float) -> float:
    """Width of the posts that hold a beam of this depth."""
    return max(POST_DEPTHS * depth, ARROW_MM + 2.5)


def bar_width_mm(printer: Printer) -> float:
    """Width of a standing bar, whole layers as it is printed.

    Parameters
    ----------
    printer : Printer
        Layer height, mm.

    Returns
    -------
    float
        mm.
    """
    layer = printer.layer_height_mm
    return ceil(WIDTH_MM / layer - 1e-9) * layer


def longest_bridge_mm(longest_piece: float, depth: float) -> float:
    """Longest span of a bar of a given length, for thin beams of this depth and a thick one.

    Parameters
    ----------
    longest_piece : float
        Length of the bar, mm.
    depth : float
        Depth of the thin beams, mm.

    Returns
    -------
    float
        Span between the posts, mm.
    """
    return longest_piece - 2.0 * post_mm(THICK_RATIO * depth)


def gusset_mm(depth: float, span: float, arm: float) -> float:
    """Leg of the gussets under a bridge, with a cantilever beyond it unless ``arm`` is 0."""
    least, stocky = GUSSET_DEPTHS
    return depth * (least + stocky * depth / span - (BALANCED_DEPTHS if arm else 0.0))


def window_mm(depth: float, span: float) -> float:
    """Height of the window under a bridge."""
    return max(WINDOW_MM, gusset_mm(depth, span, 0.0) + BELOW_GUSSET_MM)


def build_bars(spans: SagSpans, printer: Printer) -> list[Piece]:
    """Four bars: the shortest span with the cantilever, the two longer ones, the thick one.

    Parameters
    ----------
    spans : SagSpans
        Spans and depths, mm.
    printer : Printer
        Layer height, which the width and the chamfer follow.

    Returns
    -------
    list of Piece
        Standing on z = 0 as they are printed, mm.
    """
    width = bar_width_mm(printer)
    chamfer = min(foot_chamfer(printer.layer_height_mm), spans.depth / 4.0)
    first, second, third = spans.bridges
    plan = (
        ("A", BRIDGE_IDS[0], first, spans.depth, spans.cantilever),
        ("B", BRIDGE_IDS[1], second, spans.depth, 0.0),
        ("C", BRIDGE_IDS[2], third, spans.depth, 0.0),
        ("D", THICK_ID, third, spans.thick, 0.0),
    )
    return [
        Piece(
            f"bar {name}",
            to_mesh(chamfered_prism(_profile(span, depth, arm), width, chamfer)),
            _dimensions(row, span, depth, arm, width),
            fired_standing=True,
            # Posts and rail are wider than the bar is thick as it is printed.
            thickest_mm=width,
        )
        for name, row, span, depth, arm in plan
    ]


def _profile(span: float, depth: float, arm: float) -> list[Ring]:
    """Outline of a bar in the plane it is printed in; y is up when it is fired."""
    post, gusset = post_mm(depth), gusset_mm(depth, span, arm)
    reach = ARM_GUSSET_DEPTHS * depth
    foot = 2.0 * post + span
    under = RAIL_MM + window_mm(depth, span)
    top = under + depth
    outline = [(0.0, 0.0), (foot, 0.0)]
    if arm:
        outline += [(foot, under - reach), (foot + reach, under), (foot + arm, under)]
    outline += [(foot + arm, top), (0.0, top)]
    left, right = post, post + span
    window = [
        (left, RAIL_MM),
        (right, RAIL_MM),
        (right, under - gusset),
        (right - gusset, under),
        (left + gusset, under),
        (left, under - gusset),
    ]
    middle, base = post / 2.0, RAIL_MM
    arrow = [(middle - ARROW_MM / 2.0, base), (middle + ARROW_MM / 2.0, base)]
    arrow.append((middle, base + ARROW_MM))
    return [np.array(outline), as_hole(np.array(window)), as_hole(np.array(arrow))]


def _dimensions(
    row: str, span: float, depth: float, arm: float, width: float
) -> tuple[Dimension, ...]:
    post = post_mm(depth)
    foot = 2.0 * post + span
    top, low = RAIL_MM + window_mm(depth, span) + depth, RAIL_MM + 0.5 * BELOW_GUSSET_MM
    middle = width / 2.0
    down = (0.0, -1.0, 0.0)
    dims = [
        Dimension(
            _drop(row, f"drop of the bridge over {span:g} mm", Kind.BRIDGE, span, depth),
            Tool.FEELER,
            (post, low, middle),
            (post + span, low, middle),
            down,
        )
    ]
    if arm:
        dims.append(
            Dimension(
                _drop(
                    CANTILEVER_ID,
                    f"drop of the arm of {arm:g} mm at its tip",
                    Kind.CANTILEVER,
                    arm,
                    depth,
                ),
                Tool.FEELER,
                (foot, low, middle),
                (foot + arm, top - depth / 2.0, middle),
                down,
            )
        )
    if row in (BRIDGE_IDS[2], THICK_ID):
        at = post + 0.5 * span
        under: Point = (at, top - depth, middle)
        line = SheetLine(
            "T2" if row == THICK_ID else "T1",
            ("thick" if row == THICK_ID else "thin") + " beam, its thickness",
            Kind.OUTSIDE,
            "y",
            nominal=depth,
            note="jaws from the side, at mid-span",
        )
        dims.append(Dimension(line, Tool.OUTSIDE_JAWS, under, (at, top, middle), (0.0, 0.0, 1.0)))
    return tuple(dims)


def _drop(row: str, feature: str, kind: Kind, span: float, depth: float) -> SheetLine:
    return SheetLine(
        row,
        feature,
        kind,
        nominal=span,
        thickness=depth,
        note="feeler under a straightedge on both posts",
    )
