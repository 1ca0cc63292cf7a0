"""Balls and layers brought together: one place is one finding, and says which rule saw it.

Balls know thickness anywhere on the surface, layers know what the nozzle will lay down.
Where both flag the same kind of place, the ball's measure stands and the layers add
volume and height; what only one of them sees is told with its rule.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from shrinkrule.walls.findings import Finding, FindingKind, Rule, boxes_meet


def agreed(balls: list[Finding], layers: tuple[Finding, ...], reach_mm: float) -> list[Finding]:
    """Findings of both rules, each place once.

    Parameters
    ----------
    balls, layers : list and tuple of Finding
        What either rule found.
    reach_mm : float
        Places nearer than this are one; a sample spacing.
    """
    found = list(balls)
    for place in layers:
        same = [
            i
            for i, ball in enumerate(found)
            if ball.rule is not Rule.LAYERS
            and (ball.kind is place.kind or _is_edge_of(ball, place) or _are_air(ball, place))
            and boxes_meet(ball, place, reach_mm)
        ]
        if not same:
            if not any(_tells(ball, place, reach_mm) for ball in found):
                found.append(place)
            continue
        for i in same:
            if found[i].kind is place.kind or _are_air(found[i], place):
                found[i] = replace(
                    found[i],
                    rule=Rule.BOTH,
                    volume_mm3=place.volume_mm3,
                    height_range_mm=place.height_range_mm,
                )
    return found


THIN: Final = frozenset({FindingKind.THIN_FLOOR, FindingKind.THIN_WALL, FindingKind.SINGLE_BEAD})


def _is_edge_of(ball: Finding, place: Finding) -> bool:
    """Whether the layers see as wall or floor what the balls know for a knife edge."""
    return ball.kind is FindingKind.KNIFE_EDGE and place.kind in THIN


def _tells(ball: Finding, place: Finding, reach_mm: float) -> bool:
    """Whether the balls tell all of a thin place of the layers, under another kind.

    A layer cuts a leaning wall aslant and so takes it for a thicker one.
    """
    if ball.rule is Rule.LAYERS or ball.kind not in THIN or place.kind not in THIN:
        return False
    low = np.greater_equal(place.box[0], np.subtract(ball.box[0], reach_mm))
    high = np.less_equal(place.box[1], np.add(ball.box[1], reach_mm))
    return bool(low.all() and high.all()) and ball.smallest_mm <= place.smallest_mm + reach_mm


def _are_air(ball: Finding, place: Finding) -> bool:
    """Whether both are narrow air, which a layer may cut so that a slot seems a hole."""
    air = {FindingKind.NARROW_GAP, FindingKind.CLOSING_HOLE}
    return ball.kind in air and place.kind in air
