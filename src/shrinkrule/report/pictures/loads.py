"""A load drawn from above, as SVG: the wall, the room kept to it, and each part with its number."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from shrinkrule.furnace import CLEARANCE_MM, BoxFurnace, Furnace
from shrinkrule.loads import Load


def load_svg(load: Load, furnace: Furnace, labels: Mapping[int, str]) -> str:
    """Draw a load from above.

    Parameters
    ----------
    load : Load
        Parts and their places.
    furnace : BoxFurnace or CrucibleFurnace
        What they stand in.
    labels : mapping of int to str
        What to write on each part, by its number in the load.

    Returns
    -------
    str
        An SVG element; one unit is one mm.
    """
    box = isinstance(furnace, BoxFurnace)
    width, depth = (
        (furnace.length_mm, furnace.width_mm)
        if isinstance(furnace, BoxFurnace)
        else (furnace.diameter_mm, furnace.diameter_mm)
    )
    walls = []
    for inset, style in ((0.0, "wall"), (CLEARANCE_MM, "room")):
        w, d = width - 2 * inset, depth - 2 * inset
        walls.append(
            f'<rect class="{style}" x="{-w / 2:g}" y="{-d / 2:g}" width="{w:g}" height="{d:g}"/>'
            if box
            else f'<circle class="{style}" r="{w / 2:g}"/>'
        )
    size = 0.05 * max(width, depth)
    parts = []
    for placed in load.parts:
        # Y points down on a page.
        corners = " ".join(f"{x:.2f},{-y:.2f}" for x, y in placed.corners)
        x, y = placed.at
        parts.append(
            f'<polygon class="part" points="{corners}"/><text x="{x:.2f}" y="{-y:.2f}" '
            f'font-size="{size:.1f}">{escape(labels[placed.number])}</text>'
        )
    edge = 0.02 * max(width, depth)
    view = f"{-width / 2 - edge:g} {-depth / 2 - edge:g} {width + 2 * edge:g} {depth + 2 * edge:g}"
    named = ", ".join(labels[placed.number] for placed in load.parts)
    return (
        f'<svg viewBox="{view}" role="img" aria-label="parts {escape(named)} from above">'
        f"{''.join(walls)}{''.join(parts)}</svg>"
    )
