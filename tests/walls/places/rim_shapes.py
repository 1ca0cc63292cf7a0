"""Shapes of rims, as outlines across a wall."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from .part import FloatArray
from .setting import Setting
from .solids import polygon

SHAPES = (
    "square", "round", "small rounding", "bevelled on one side", "bevelled on both sides",
    "pointed", "chisel", "elliptic", "rolled",
)  # fmt: skip


@dataclass(frozen=True)
class Rim:
    """Outline of a rim.

    Attributes
    ----------
    name
        One of :data:`SHAPES`.
    points
        From the flank on the right, over the top, to the flank on the left; the flanks end at
        height 0.
    height
        How far it rises above the flanks' ends.
    least
        Share of the wall's thickness down to which balls are still held nearly opposite.
    angle
        Angle of its sharp edge in degrees, if it has one.
    apex
        Point of that edge.
    """

    name: str
    points: FloatArray
    height: float
    least: float = 1.0
    angle: float | None = None
    apex: tuple[float, float] = (0.0, 0.0)

    @property
    def may_be_edge(self) -> bool:
        """Whether a knife edge may be told along it."""
        return self.name not in ("square", "round", "rolled", "small rounding")


def arc(
    middle: tuple[float, float], radius: float, start: float, end: float, flats: int
) -> FloatArray:
    """Flats that touch an arc from outside, the first and last along the tangents at its ends."""
    step = math.radians(end - start) / flats
    angles = math.radians(start) + (np.arange(flats) + 0.5) * step
    around = np.column_stack((np.cos(angles), np.sin(angles)))
    return np.array(middle) + around * radius / math.cos(step / 2)


def draw_rim(setting: Setting, thickness: float, name: str | None = None) -> Rim:
    """Draw a rim for a wall of this thickness."""
    shape = name or setting.one_of(SHAPES)
    half = thickness / 2
    square = Rim("square", np.array([[half, 0.0], [-half, 0.0]]), 0.0)
    if shape == "round":
        flats = setting.whole(12, 32) if setting.fine else setting.whole(4, 8)
        return Rim(shape, arc((0, 0), half, 0, 180, flats), half)
    if shape == "small rounding":
        radius = setting.between(0.1, 0.4) * thickness
        flats = setting.whole(4, 8) if setting.fine else setting.whole(2, 3)
        right = arc((half - radius, 0), radius, 0, 90, flats)
        return Rim(shape, np.vstack((right, (right * (-1, 1))[::-1])), radius)
    if shape == "bevelled on both sides":
        slant = math.radians(setting.between(22, 50))
        top = setting.between(0.25, 0.6) * half
        rise = (half - top) / math.tan(slant)
        return Rim(shape, np.array([[half, 0], [top, rise], [-top, rise], [-half, 0]]), rise)
    if shape == "bevelled on one side":
        slant = math.radians(setting.between(46, 65))
        top = half - setting.between(0.3, 0.75) * thickness
        rise = (half - top) / math.tan(slant)
        return Rim(shape, np.array([[half, 0], [top, rise], [-half, rise]]), rise)
    if shape in ("pointed", "chisel"):
        sharp = not setting.sound and setting.chance(0.5)
        angle = setting.between(24, 33) if sharp else setting.between(46, 80)
        if shape == "pointed":
            rise, apex = half / math.tan(math.radians(angle) / 2), 0.0
        else:
            rise, apex = thickness / math.tan(math.radians(angle)), -half
        points = np.array([[half, 0], [apex, rise], [-half, 0]])
        if shape == "chisel":
            points = points[:2]
        return Rim(shape, points, rise, angle=angle, apex=(apex, rise))
    if shape == "elliptic":
        flats = setting.whole(16, 40) if setting.fine else setting.whole(8, 12)
        slim = setting.chance(0.7) and not setting.sound
        stretch = setting.between(1.25, 2.0) if slim else setting.between(0.4, 0.8)
        points = arc((0, 0), half, 0, 180, flats) * (1.0, stretch)
        return Rim(shape, points, half * stretch, least=_held_share(stretch))
    if shape == "rolled":
        return _rolled(setting, thickness) or square
    return square


def _held_share(stretch: float) -> float:
    """Share of the thickness where an ellipse's ball is held 150 degrees apart."""
    if stretch <= 1:
        return 1.0
    along = (math.tan(math.radians(15)) * stretch) ** 2
    return math.sqrt((1 + along / stretch**2) / (1 + along))


def _rolled(setting: Setting, thickness: float) -> Rim | None:
    bead = setting.bead
    if thickness > 2 * bead:
        roll = thickness * setting.between(1.3, 2.0)
    else:
        roll = max(setting.between(2.15, 3.0) * bead, 1.4 * thickness)
    sides = setting.sides((10, 16), (24, 48))
    circle = polygon(sides, roll, phase=0.0)
    half = thickness / 2
    reach = math.sqrt(roll**2 - thickness**2) / 2
    shaft = shapely.box(-half, -roll, half, 0)
    whole = shapely.Polygon(circle).union(shaft)
    outline = np.asarray(shapely.geometry.polygon.orient(whole).exterior.coords)[:-1]
    # Begin at the lower right corner of the shaft and leave its two lower corners out.
    start = int(np.argmin(np.abs(outline - (half, -roll)).sum(axis=1)))
    points = np.roll(outline, -start, axis=0)[1:-1]
    return Rim("rolled", points + (0.0, reach), roll / 2 + reach)


def above(rim: Rim, thickness: float, foot: float, flank: float) -> FloatArray:
    """Outline of a wall with this rim from the height ``foot`` to the end of its flanks."""
    half = thickness / 2
    return np.vstack(([-half, foot], [half, foot], rim.points + (0.0, flank)))
