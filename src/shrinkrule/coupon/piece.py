"""What a coupon is made of: pieces, and the dimensions a maker takes on them.

A dimension knows both places the tool touches and the way the tool comes in, so that
the tests can try it against the mesh and the page can draw it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import trimesh

from shrinkrule.coupon.layout import Rectangles
from shrinkrule.sheet import SheetLine

Point = tuple[float, float, float]

AXES: Final = {"x": 0, "y": 1, "z": 2}

JAW_WIDTH_MM: Final = 3.5
"""Widest jaw blade assumed, along the face it touches (common hand calipers, no source)."""
JAW_DEPTH_MM: Final = 3.0
"""Thickest jaw tip assumed, along the length measured (common hand calipers, no source)."""
JAW_GRIP_MM: Final = 2.0
"""Least length of jaw that must bear on each face."""
INSIDE_JAW_MM: Final = 4.5
"""Smallest opening that the inside jaws enter, after firing (common hand calipers, no source)."""
ROD_MM: Final = 2.5
"""Widest depth rod assumed (common hand calipers, no source)."""


class Tool(StrEnum):
    """What a dimension is taken with."""

    OUTSIDE_JAWS = "outside jaws"
    INSIDE_JAWS = "inside jaws"
    PIN = "gauge pin"
    DEPTH_ROD = "depth rod"
    FEELER = "straightedge and feeler"


@dataclass(frozen=True)
class Dimension:
    """One line of the sheet with its place on a piece.

    Parameters
    ----------
    line : SheetLine
        The line it fills.
    tool : Tool
        What it is taken with.
    start, end : tuple of 3 float
        Where the tool touches, on the two faces, mm; the length is their distance along
        the line's axis. For a bridge and a cantilever: the two ends of the span.
    approach : tuple of 3 float
        Unit vector along which the tool comes in.
    """

    line: SheetLine
    tool: Tool
    start: Point
    end: Point
    approach: Point


@dataclass(frozen=True)
class Piece:
    """One body of the coupon, standing on z = 0 as it is printed.

    Parameters
    ----------
    name : str
        What the page calls it.
    mesh : trimesh.Trimesh
        Its solid, mm, with its corner at the origin.
    dimensions : tuple of Dimension
        What is taken on it, in the piece's own frame.
    plan : Rectangles
        Rectangles that cover it on the bed; empty for its box.
    fired_standing : bool
        Whether it is turned up before firing, its y axis upward.
    thickest_mm : float
        Diameter of the largest ball that fits into it, for the pieces that may be the coupon's
        thickest; 0 for others.
    """

    name: str
    mesh: trimesh.Trimesh
    dimensions: tuple[Dimension, ...]
    plan: Rectangles = ()
    fired_standing: bool = False
    thickest_mm: float = 0.0

    @property
    def printed_size(self) -> Point:
        """Box on the bed: length, width, height in mm."""
        x, y, z = np.ptp(self.mesh.bounds, axis=0)
        return float(x), float(y), float(z)

    @property
    def fired_size(self) -> Point:
        """Box in the furnace: length, width, height in mm."""
        x, y, z = self.printed_size
        return (x, z, y) if self.fired_standing else (x, y, z)

    @property
    def printed_plan(self) -> Rectangles:
        """Rectangles that cover it on the bed."""
        return self.plan or ((0.0, 0.0, *self.printed_size[:2]),)

    @property
    def fired_plan(self) -> Rectangles:
        """Rectangles that cover it on the furnace floor."""
        return ((0.0, 0.0, *self.fired_size[:2]),) if self.fired_standing else self.printed_plan
