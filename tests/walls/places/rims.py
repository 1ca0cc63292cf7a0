"""Walls with rims of every shape: fins, vanes, plates, cups and disc springs."""

from __future__ import annotations

import math

import numpy as np

from .part import KNIFE_EDGE, SINGLE_BEAD, THIN_WALL, Expected, FloatArray
from .rim_shapes import Rim, above, draw_rim
from .setting import Draft, Setting, angle_to_z, rotation
from .solids import block, fin, finished, joined, leaned, turned

X_AXIS = np.array([1.0, 0.0, 0.0])
Y_AXIS = np.array([0.0, 1.0, 0.0])


def sheet_grid(
    low: tuple[float, float, float], high: tuple[float, float, float], spacing: float = 2.0
) -> FloatArray:
    """Points on a plane between two corners, clear of its borders."""
    axes = [
        np.linspace(a, b, max(2, math.ceil(abs(b - a) / spacing))) if b != a else np.array([a])
        for a, b in zip(low, high, strict=True)
    ]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def knife_place(
    setting: Setting, angle: float, at: FloatArray, faces: FloatArray, tip: float = 0.0
) -> Expected:
    """Tell the edge of a wedge; ``tip`` is the diameter of the largest ball in its blunt tip.

    The loss is judged where neither face lies near level: there layers count, not beads.
    """
    share = (1 / math.sin(math.radians(angle) / 2) - 1) / 2
    steep = all(angle_to_z(setting.turn @ face) > 40 for face in faces)
    return Expected(
        kinds=frozenset((KNIFE_EDGE,)),
        least_mm=tip,
        tolerance_mm=math.inf,
        at=np.atleast_2d(at),
        min_area_mm2=None,
        count=1,
        weighs="look",
        loss_mm=share * (setting.bead - tip) if steep else None,
    )


def plate(setting: Setting) -> Draft:
    """Plate or blade by itself, with a rim on top and another below."""
    setting.tumble(X_AXIS[None])
    thickness = setting.sheet(X_AXIS)
    height, length = setting.between(6, 22), setting.between(8, 35)
    top, bottom = draw_rim(setting, thickness), draw_rim(setting, thickness)
    lower = bottom.points * (-1.0, -1.0)
    profile = np.vstack((lower, top.points + (0.0, height)))
    mesh = finished(fin(profile, 0, length), setting.between(0.6, 1.2) if setting.fine else None)
    at = sheet_grid((0, 1, thickness), (0, length - 1, height - thickness))
    walls = _walls(setting, thickness, X_AXIS, at, (height - thickness, length), (top, bottom))
    edges = [
        *_edge(setting, thickness, top, np.eye(3), np.array([0.0, 0.0, height]), (0, length)),
        *_edge(setting, thickness, bottom, np.diag([-1.0, 1.0, -1.0]), np.zeros(3), (0, length)),
    ]
    return setting.draft(
        mesh, (*walls, *edges), _allowed(setting, thickness, X_AXIS, (top, bottom)),
        f"plate {thickness:.2f}, rims {top.name} and {bottom.name}",
    )  # fmt: skip


def fin_on_block(setting: Setting) -> Draft:
    """One fin on a block, upright or leaning."""
    lean = setting.between(0, 55) if setting.chance(0.75) else 0.0
    across = rotation(Y_AXIS, lean) @ X_AXIS
    if setting.chance(0.5):
        setting.stand()
    else:
        setting.tumble(across[None])
    thickness = setting.sheet(across)
    return _fins(setting, thickness, lean, 1, "fin")


def vanes(setting: Setting) -> Draft:
    """Row of equal fins on a block."""
    lean = setting.between(0, 40) if setting.chance(0.5) else 0.0
    across = rotation(Y_AXIS, lean) @ X_AXIS
    setting.tumble(across[None])
    thickness = setting.sheet(across)
    return _fins(setting, thickness, lean, setting.whole(2, 7), "row of vanes")


def _fins(setting: Setting, thickness: float, lean: float, count: int, name: str) -> Draft:
    flank, length = setting.between(5, 14), setting.between(8, 28)
    rim = draw_rim(setting, thickness)
    pitch = (thickness + 3 * setting.bead + 2.0) / math.cos(math.radians(lean))
    if rim.name == "rolled":
        pitch += 2 * thickness + 3 * setting.bead
    foot = -1.0 - thickness / 2 * math.tan(math.radians(lean))
    one = leaned(fin(above(rim, thickness, foot, flank), 0, length), lean, np.zeros(3))
    wide = (count - 1) * pitch + 10 + 4 * thickness
    base = block(
        (wide, length + 4, 6 + thickness),
        ((count - 1) * pitch / 2, length / 2, -3 - thickness / 2),
    )
    turn = rotation(Y_AXIS, lean)
    shifts = np.column_stack((np.arange(count) * pitch, np.zeros(count), np.zeros(count)))
    mesh = finished(
        joined(base, *(one.translate(tuple(shift)) for shift in shifts)),
        setting.between(0.7, 1.4) if setting.fine else None,
    )
    across = turn @ X_AXIS
    low = thickness * (1 + math.tan(math.radians(lean)))
    at = sheet_grid((0, 1, low), (0, length - 1, flank - thickness / 2)) @ turn.T
    expected: list[Expected] = []
    for shift in shifts:
        size = (flank - low, length)
        expected += _walls(setting, thickness, across, at + shift, size, (rim,))
        place = turn @ np.array([0.0, 0.0, flank]) + shift
        expected += _edge(setting, thickness, rim, turn, place, (0, length))
    return setting.draft(
        mesh, expected, _allowed(setting, thickness, across, (rim,)),
        f"{name}: {count} of {thickness:.2f}, leaning {lean:.0f} degrees, rim {rim.name}",
    )  # fmt: skip


def cup(setting: Setting) -> Draft:
    """Cup with a sound floor and a rim of any shape."""
    setting.stand_or_lean(50)
    thickness = setting.wall()
    rim = draw_rim(setting, thickness)
    radius, flank = setting.between(6, 18) + thickness, setting.between(6, 22)
    floor = 3.0 + thickness
    sides = setting.sides((16, 48), (72, 120))
    shrink = math.cos(math.pi / sides)
    profile = np.vstack(
        ([0, -floor], [radius + thickness / 2, -floor], rim.points + (radius, flank),
         [radius - thickness / 2, 0], [0, 0])
    )  # fmt: skip
    mesh = finished(turned(profile, sides), setting.between(1.2, 2) if setting.fine else None)
    angles = (np.arange(sides) + 0.5) * 2 * math.pi / sides
    heights = np.linspace(thickness, flank - thickness / 2, max(2, int(flank / 3)))
    ring = radius * shrink * np.column_stack((np.cos(angles), np.sin(angles)))
    at = np.vstack([np.column_stack((ring, np.full(sides, h))) for h in heights])
    size = (flank - thickness, 2 * math.pi * radius)
    slack = thickness * (1 - shrink)
    walls = _walls(setting, thickness * shrink, X_AXIS, at, size, (rim,), slack, level=False)
    edges: list[Expected] = []
    if rim.angle is not None and rim.angle < 40 and thickness * shrink > setting.bead:
        top = np.column_stack(
            (ring / radius * (radius + rim.apex[0]), np.full(sides, flank + rim.apex[1]))
        )
        edges.append(knife_place(setting, rim.angle, top, np.array([X_AXIS, Y_AXIS])))
    return setting.draft(
        mesh, (*walls, *edges), (KNIFE_EDGE,) if _open_edge(setting, thickness, (rim,)) else (),
        f"cup of {sides} flats, wall {thickness:.2f}, rim {rim.name}",
    )  # fmt: skip


def disc_spring(setting: Setting) -> Draft:
    """Conical disc, flat enough for a floor or steep enough for a wall."""
    flat = setting.chance(0.6)
    slope = setting.between(5, 22) if flat else setting.between(42, 70)
    setting.stand()
    way = np.array([math.cos(math.radians(slope)), -math.sin(math.radians(slope))])
    across = np.array([way[1] * -1, 0.0, way[0]])
    thickness = setting.sheet(across)
    width, inner = setting.between(6, 14), setting.between(4, 10) + 3 * thickness
    rim = draw_rim(setting, thickness, setting.one_of(("square", "round", "small rounding")))
    # A straight wall with two rims, laid along the slope and turned about Z.
    outline = np.vstack((rim.points * (-1, -1), rim.points + (0.0, width)))
    laid = outline @ np.array([[way[1] * -1, way[0]], [way[0], way[1]]]) + (inner, 0.0)
    sides = setting.sides((24, 48), (72, 120))
    mesh = finished(turned(laid[::-1], sides), setting.between(1, 2) if setting.fine else None)
    shrink = math.cos(math.pi / sides)
    # The flats of a cone are steeper than the cone itself.
    least = _flat_thickness(thickness, slope, shrink)
    angles = (np.arange(sides) + 0.5) * 2 * math.pi / sides
    at = np.vstack([
        np.column_stack((
            shrink * (inner + step * way[0]) * np.cos(angles),
            shrink * (inner + step * way[0]) * np.sin(angles),
            np.full(sides, step * way[1]),
        ))
        for step in np.linspace(1.0, width - 1.0, 4)
    ])  # fmt: skip
    size = (width - thickness, 2 * math.pi * (inner + width * way[0] / 2))
    walls = _walls(setting, least, across, at, size, (rim,), thickness - least)
    allowed = (
        (THIN_WALL, SINGLE_BEAD) if flat and rim.name != "square" and not setting.sound else ()
    )
    return setting.draft(
        mesh, walls, allowed, f"disc spring {thickness:.2f} at {slope:.0f} degrees, rim {rim.name}"
    )


def _flat_thickness(thickness: float, slope: float, shrink: float) -> float:
    """Thickness between the flats of two cones, level ``thickness / sin(slope)`` apart."""
    level = thickness / math.sin(math.radians(slope)) * shrink
    flat = math.atan(math.tan(math.radians(slope)) / shrink)
    return level * math.sin(flat)


def _walls(
    setting: Setting, thickness: float, across: FloatArray, at: FloatArray,
    size: tuple[float, float], rims: tuple[Rim, ...], slack: float = 0.0, level: bool = True,
) -> tuple[Expected, ...]:  # fmt: skip
    """Tell the wall behind its rims: by its flanks, or a little less where a rim still holds."""
    held = min(rim.least for rim in rims)
    drop = thickness * (1 - held) / 2
    area = 0.85 * 2 * size[0] * (size[1] - thickness)
    if level:
        return setting.sheet_place(thickness - drop, across, at, area, slack + drop)
    return setting.wall_place(thickness - drop, at, area, slack + drop)


def _edge(
    setting: Setting, thickness: float, rim: Rim, turn: FloatArray, foot: FloatArray,
    ends: tuple[float, float],
) -> list[Expected]:  # fmt: skip
    """Tell a pointed rim of a wall that a bead fits into."""
    if rim.angle is None or rim.angle > 40 or setting.sound:
        return []
    if thickness < 1.02 * setting.bead or setting.is_floor(turn @ X_AXIS):
        return []
    along = np.linspace(ends[0], ends[1], max(3, int(ends[1] - ends[0])))
    local = np.column_stack(
        (np.full_like(along, rim.apex[0]), along, np.full_like(along, rim.apex[1]))
    )
    half = rim.angle / 2
    tilt = (half, half) if rim.name == "pointed" else (0.0, rim.angle)
    faces = np.array([rotation(Y_AXIS, -tilt[1]) @ X_AXIS, rotation(Y_AXIS, tilt[0]) @ -X_AXIS])
    return [knife_place(setting, rim.angle, local @ turn.T + foot, faces @ turn.T)]


def _open_edge(setting: Setting, thickness: float, rims: tuple[Rim, ...]) -> bool:
    """Whether a knife edge may be told of a rim without being wrong."""
    if setting.sound:
        return False
    doubtful = any(rim.may_be_edge and rim.name != "elliptic" for rim in rims)
    return (doubtful and thickness < 1.02 * setting.bead) or any(
        rim.name == "elliptic" for rim in rims
    )


def _allowed(
    setting: Setting, thickness: float, across: FloatArray, rims: tuple[Rim, ...]
) -> tuple[str, ...]:
    """Kinds that rims leave open."""
    if setting.is_floor(across):
        # Layers, not beads, decide about the rim of a floor.
        if setting.sound:
            return (KNIFE_EDGE,) if any(rim.may_be_edge for rim in rims) else ()
        plain = all(rim.name == "square" for rim in rims)
        return () if plain else (KNIFE_EDGE, THIN_WALL, SINGLE_BEAD)
    held = thickness * min(rim.least for rim in rims)
    if held < setting.bead * 1.02 < thickness * 1.02:
        return (KNIFE_EDGE, THIN_WALL)
    return (KNIFE_EDGE,) if _open_edge(setting, thickness, rims) else ()
