"""Balls and layers brought together: one place is one finding, and says which rule saw it.

Balls know thickness anywhere on the surface, layers know what the nozzle will lay down.
Where both flag the same kind of place, the ball's measure stands and the layers add
volume and height; what only one of them sees is told with its rule.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from shrinkrule.walls.findings import Finding, FindingKind, Rule


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
            and _overlap(ball, place, reach_mm)
        ]
        if not same:
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


def _is_edge_of(ball: Finding, place: Finding) -> bool:
    """Whether the layers see as wall or floor what the balls know for a knife edge."""
    thin = {FindingKind.THIN_FLOOR, FindingKind.THIN_WALL, FindingKind.SINGLE_BEAD}
    return ball.kind is FindingKind.KNIFE_EDGE and place.kind in thin


def _are_air(ball: Finding, place: Finding) -> bool:
    """Whether both are narrow air, which a layer may cut so that a slot seems a hole."""
    air = {FindingKind.NARROW_GAP, FindingKind.CLOSING_HOLE}
    return ball.kind in air and place.kind in air


def _overlap(one: Finding, other: Finding, reach_mm: float) -> bool:
    low = np.maximum(one.box[0], other.box[0])
    high = np.minimum(one.box[1], other.box[1])
    return bool((low <= high + reach_mm).all())
