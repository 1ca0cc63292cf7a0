"""Edges where two faces meet: those that print, and those too sharp to."""

from __future__ import annotations

import math

import numpy as np
import shapely

from .part import (
    KNIFE_EDGE,
    SINGLE_BEAD,
    SINGLE_BEAD_PIN,
    THIN_PIN,
    THIN_WALL,
    Expected,
    FloatArray,
)
from .rims import knife_place
from .setting import Draft, Setting, angle_to_z, rotation
from .solids import Solid, block, fin, finished, joined, turned

Y_AXIS = np.array([0.0, 1.0, 0.0])
#: Sharp edges under this angle lose more than a bead (39 degrees), with room to spare.
SHARP = 34.0
#: And those over this one lose less.
BLUNT = 44.0


def edge_angle(setting: Setting) -> float:
    """Draw the angle of an edge, clear of where it is in doubt."""
    return setting.between(BLUNT + 1, 100) if setting.sound else setting.between(16, SHARP - 1)


def beside(angle: float) -> tuple[str, ...]:
    """Kinds that a sharp wedge leaves open: a slender one is a wall at its thick end."""
    if angle < 22:
        return (THIN_WALL, SINGLE_BEAD)
    return (SINGLE_BEAD,) if angle < 30 else ()


def edge_points(foot: tuple[float, float], low: float, high: float) -> FloatArray:
    """Points along an edge that runs in Y."""
    along = np.linspace(low, high, max(3, math.ceil(high - low)))
    return np.column_stack((np.full_like(along, foot[0]), along, np.full_like(along, foot[1])))


def _stand_edge(setting: Setting) -> None:
    """Stand the Y axis near upright half of the time, else turn at random."""
    if setting.chance(0.5):
        upright = rotation(np.array([1.0, 0.0, 0.0]), 90.0)
        setting.lean(35)
        setting.turn = setting.turn @ upright
    else:
        setting.tumble()


def wedge(setting: Setting) -> Draft:
    """Block with one wedge on it, sharp, flat or round at its tip."""
    angle, tip = edge_angle(setting), 0.0
    half = math.radians(angle) / 2
    faces = np.array([[math.cos(half), 0, math.sin(half)], [-math.cos(half), 0, math.sin(half)]])
    _stand_edge(setting)
    lost = 1 / math.sin(half) - 1
    shape = setting.one_of(("sharp", "sharp", "flat", "round"))
    if not setting.sound and shape != "sharp":
        # The tip's ball may be so large that the bead still loses 1.15 beads of depth.
        room = 1 - 2 * 1.15 / lost
        if room < 0.05:
            shape = "sharp"
        else:
            tip = setting.between(0.3, 1.0) * min(room, 0.5) * setting.bead
        while tip > 0 and min(angle_to_z(setting.turn @ face) for face in faces) < 41:
            # Near level, layers decide whether a blunt edge is lost.
            _stand_edge(setting)
    elif shape != "sharp":
        tip = setting.between(0.1, 2.0) * setting.bead
    wide = max(setting.between(4, 9), 2.6 * setting.bead, 1.6 * tip)
    apex = wide / 2 / math.tan(half)
    outline = [np.array([[-wide / 2, -5.0], [wide / 2, -5.0], [wide / 2, 0.0]])]
    if shape == "sharp":
        outline.append(np.array([[0.0, apex]]))
    elif shape == "flat":
        top = tip / 2 * (1 - math.sin(half)) / math.cos(half)
        apex -= top / math.tan(half)
        outline.append(np.array([[top, apex], [-top, apex]]))
    else:
        middle = apex - tip / 2 / math.sin(half)
        flats = setting.whole(8, 16) if setting.fine else setting.whole(3, 6)
        step = (math.pi - 2 * half) / flats
        turns = half + (np.arange(flats) + 0.5) * step
        ring = tip / 2 / math.cos(step / 2) * np.column_stack((np.cos(turns), np.sin(turns)))
        outline.append(ring + (0.0, middle))
        apex = middle + tip / 2
    outline.append(np.array([[-wide / 2, 0.0]]))
    length = setting.between(6, 30)
    mesh = finished(
        fin(np.vstack(outline), 0, length), setting.between(0.6, 1.2) if setting.fine else None
    )
    description = f"wedge of {angle:.0f} degrees, {shape} tip {tip:.2f}"
    if setting.sound:
        return setting.draft(mesh, (), (), description)
    place = knife_place(setting, angle, edge_points((0.0, apex), 0, length), faces, tip)
    allowed = beside(angle)
    if shape != "sharp" and angle < 26:
        allowed = (THIN_WALL, SINGLE_BEAD)
    return setting.draft(mesh, (place,), allowed, description)


def dovetail(setting: Setting) -> Draft:
    """Dovetail rail on a block; its two undercut edges are as sharp as its flanks lean."""
    _stand_edge(setting)
    angle = setting.between(46, 75) if setting.sound else setting.between(22, SHARP - 1)
    high = setting.between(3, 6)
    neck = max(setting.between(4, 9), 2.6 * setting.bead)
    out = high / math.tan(math.radians(angle))
    outline = np.array([
        [-neck / 2, 0], [neck / 2, 0], [neck / 2 + out, high], [-neck / 2 - out, high]
    ])  # fmt: skip
    length = setting.between(8, 25)
    rail = fin(np.vstack((outline[:1] + (0, -1), outline[1:2] + (0, -1), outline[1:], outline[:1])),
               0, length)  # fmt: skip
    base = block((neck + 2 * out + 4, length, 6), (0, length / 2, -3))
    mesh = finished(joined(rail, base), setting.between(0.8, 1.4) if setting.fine else None)
    description = f"dovetail of {angle:.0f} degrees"
    if setting.sound:
        return setting.draft(mesh, (), (), description)
    slope = math.radians(angle)
    places = []
    for side in (-1.0, 1.0):
        faces = np.array([[0, 0, 1.0], [side * math.sin(slope), 0, -math.cos(slope)]])
        at = edge_points((side * (neck / 2 + out), high), 0, length)
        places.append(knife_place(setting, angle, at, faces))
    return setting.draft(mesh, places, beside(angle), description)


def pyramid(setting: Setting) -> Draft:
    """Pyramid with 3 to 8 sides: foot edges of 45 to 66 degrees, or a needle's sharp tip."""
    setting.tumble() if setting.chance(0.5) else setting.stand()
    sides = setting.whole(3, 8)
    radius = setting.between(5, 12)
    angles = (np.arange(sides) + 0.5) * 2 * math.pi / sides
    foot = radius / math.cos(math.pi / sides) * np.column_stack((np.cos(angles), np.sin(angles)))
    slope = setting.between(46, 63)
    if sides == 3:
        slope = setting.between(46, 55)
    cut = setting.chance(0.3)
    if cut:
        slope = setting.between(46, 80)
    high = radius * math.tan(math.radians(slope))
    shell = np.vstack((np.column_stack((foot, np.zeros(sides))), [[0, 0, high]]))
    solid = Solid.hull_points(shell)
    if cut:
        solid = solid.trim_by_plane((0, 0, -1), -high * setting.between(0.3, 0.6))
    mesh = finished(solid, setting.between(0.8, 1.4) if setting.fine else None)
    return setting.draft(mesh, (), (), f"pyramid of {sides} sides, foot at {slope:.0f} degrees")


def cone(setting: Setting) -> Draft:
    """Cone on a cylinder, with a sharp or a blunt tip."""
    setting.lean(40)
    angle = setting.between(47, 110) if setting.sound else setting.between(16, SHARP - 1)
    sides = setting.sides((16, 32), (64, 120))
    radius = max(setting.between(2, 6), 1.5 * setting.bead)
    half = math.radians(angle) / 2
    high = radius / math.tan(half)
    profile = np.array([[0, -5], [radius, -5], [radius, 0], [0, high]])
    mesh = finished(turned(profile, sides), setting.between(0.5, 1.0) if setting.fine else None)
    description = f"cone of {angle:.0f} degrees"
    if setting.sound:
        return setting.draft(mesh, (), (), description)
    shrink = math.cos(math.pi / sides)
    flat = 2 * math.degrees(math.atan(math.tan(half) * shrink))
    place = knife_place(setting, flat, np.array([0, 0, high]), np.array([[1.0, 0, 0]]))
    kinds = frozenset((KNIFE_EDGE, THIN_PIN))
    place = Expected(
        kinds, place.least_mm, place.tolerance_mm, place.at, None, 2, "look", place.loss_mm
    )
    allowed = (THIN_PIN, SINGLE_BEAD_PIN, *(beside(angle)))
    return setting.draft(mesh, (place,), allowed, description)


def chamfered(setting: Setting) -> Draft:
    """Block with chamfers and rounded edges all round: nothing is thin."""
    setting.tumble()
    size = np.array([setting.between(8, 25), setting.between(8, 25), setting.between(5, 15)])
    cut = setting.between(0.2, 1.5)
    flat = shapely.box(0, 0, float(size[0]), float(size[1]))
    if setting.chance(0.5):
        flat = flat.buffer(-1.5).buffer(1.5, quad_segs=8 if setting.fine else 3)
    solid = _chamfered_plate(flat, float(size[2]), cut)
    mesh = finished(solid, setting.between(0.8, 1.4) if setting.fine else None)
    return setting.draft(mesh, (), (), f"block with chamfers of {cut:.1f}")


def _chamfered_plate(outline: shapely.Polygon, high: float, cut: float) -> Solid:
    around = np.asarray(outline.exterior.coords)[:-1]
    inner = np.asarray(outline.buffer(-cut, join_style="mitre").exterior.coords)[:-1]
    layers = [(inner, 0.0), (around, cut), (around, high - cut), (inner, high)]
    points = [np.column_stack((ring, np.full(len(ring), height))) for ring, height in layers]
    return Solid.hull_points(np.vstack(points))
