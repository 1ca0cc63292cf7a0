"""Uniform thin sheets, plane and curved, and fins that taper or twist."""

from __future__ import annotations

import math

import numpy as np
import shapely
import trimesh

from .part import KNIFE_EDGE, SINGLE_BEAD, THIN_FLOOR, THIN_WALL, Expected, FloatArray, IntArray
from .setting import Draft, Setting
from .solids import (
    block,
    fin,
    finished,
    grid_faces,
    joined,
    polygon,
    prism,
    solid_of,
    thickened,
)

X_AXIS = np.array([1.0, 0.0, 0.0])
Z_AXIS = np.array([0.0, 0.0, 1.0])


def corrugation(setting: Setting) -> Draft:
    """Zigzag or wave of even thickness, standing, leaning, or lying nearly level."""
    lying = setting.chance(0.3)
    count = setting.whole(2, 5)
    period = setting.between(6, 10) + 4 * setting.bead
    if lying:
        # The profile runs in X and rises in Z by up to 20 degrees; its length runs in Y.
        setting.stand()
        rise = setting.between(0.1, 0.9) * period * math.tan(math.radians(20)) / (2 * math.pi)
        thickness = setting.sheet(Z_AXIS)
    else:
        setting.stand_or_lean(50)
        rise = setting.between(0.1, 0.3) * period
        thickness = setting.wall(1.8)
    zigzag = setting.chance(0.4)
    per_wave = 2 if zigzag else setting.whole(12, 20) if not setting.fine else setting.whole(32, 60)
    if not zigzag:
        # No bend may be sharper than the sheet is thick.
        rise = min(rise, (period / (2 * math.pi)) ** 2 / (1.2 * thickness))
    along = np.linspace(0, count * period, count * per_wave + 1)
    phase = (along / period) * 2 * math.pi
    height = np.where(np.arange(len(along)) % 2, rise, -rise) if zigzag else rise * np.sin(phase)
    middle = shapely.LineString(np.column_stack((along, height)))
    outline = middle.buffer(thickness / 2, cap_style="flat", join_style="mitre", mitre_limit=4)
    long = setting.between(8, 20)
    body = fin(outline, 0, long) if lying else prism(outline, 0, long)
    mesh = finished(body, setting.between(0.6, 1.1) if setting.fine else None)
    places = np.linspace(thickness, middle.length - thickness, max(8, int(middle.length / 1.5)))
    flat = np.array([middle.interpolate(place).coords[0] for place in places])
    corners = np.array(middle.coords)
    clear = np.abs(flat[:, None] - corners[None]).max(axis=2).min(axis=1) > 0.02
    if zigzag:
        clear = np.linalg.norm(flat[:, None] - corners[None], axis=2).min(axis=1) > thickness
    at = _stacked(flat[clear], long, thickness, lying)
    area = 0.8 * 2 * (middle.length - 2 * thickness) * (long - thickness)
    places_told = (
        setting.sheet_place(thickness, Z_AXIS, at, area, 0.005 * thickness)
        if lying
        else setting.wall_place(thickness, at, area, 0.005 * thickness)
    )
    name = "zigzag" if zigzag else "wave"
    stand = "lying" if lying else "standing"
    return setting.draft(
        mesh, places_told, (), f"{stand} {name} of {thickness:.2f}, {count} periods"
    )


def _stacked(flat: FloatArray, long: float, thickness: float, lying: bool) -> FloatArray:
    """Copies of plane points along the length of a drawn-out profile."""
    steps = np.linspace(thickness, long - thickness, max(2, int(long / 2)))
    rows = [
        np.column_stack((flat[:, 0], np.full(len(flat), step), flat[:, 1]))
        if lying
        else np.column_stack((flat, np.full(len(flat), step)))
        for step in steps
    ]
    return np.vstack(rows)


def tube(setting: Setting) -> Draft:
    """Round tube of even wall with open ends."""
    setting.stand_or_lean(50)
    thickness = setting.wall()
    radius = setting.between(5, 16) + thickness
    high = setting.between(6, 25)
    sides = setting.sides((12, 40), (64, 120))
    shrink = math.cos(math.pi / sides)
    # Drawn by its flats: what stands straight opposite is exactly the wanted thickness.
    outer, inner = (shapely.Polygon(polygon(sides, 2 * radius + sign * thickness)) for sign in
                    (1, -1))  # fmt: skip
    mesh = finished(
        prism(outer.difference(inner), 0, high), setting.between(0.6, 1.1) if setting.fine else None
    )
    turns = np.arange(sides) * 2 * math.pi / sides
    # The outline has its corners half a step off, so flats lie at whole steps.
    ring = radius * np.column_stack((np.cos(turns), np.sin(turns)))
    at = _stacked(ring, high, thickness, lying=False)
    area = 0.85 * 2 * 2 * math.pi * radius * (high - thickness)
    places = setting.wall_place(thickness, at, area, thickness * (1 - shrink) / 2)
    return setting.draft(mesh, places, (), f"tube of {sides} flats, wall {thickness:.2f}")


def mixed_thickness(setting: Setting) -> float:
    """Draw the thickness of a sheet that is wall here and floor there."""
    bead, floor = setting.bead, setting.floor
    if setting.sound:
        return setting.between(2.1, 4.0) * bead
    if setting.chance(0.6):
        return setting.between(0.5, 0.96) * bead
    return setting.between(1.03 * floor, 1.95 * bead)


def mixed_places(
    setting: Setting, thickness: float, at: FloatArray, normals: FloatArray, areas: tuple[float,
    float], pieces: tuple[int, int], slack: float,
) -> tuple[Expected, ...]:  # fmt: skip
    """Tell a sheet that is wall and floor: one place of walls, and its floors with it or apart.

    Parameters
    ----------
    at, normals
        Centres of balls, and the thickness directions there, in the family's frame.
    areas
        Lower bounds for the whole sheet and for its walls.
    pieces
        How many its floors and its walls fall into.
    """
    if thickness > 2 * setting.bead:
        return ()
    tilt = np.abs(normals @ setting.turn.T)[:, 2] / np.linalg.norm(normals, axis=1)
    if thickness < setting.bead:
        kinds = (THIN_WALL, THIN_FLOOR)
        return (setting.place(kinds, thickness, at, areas[0], slack, count=sum(pieces)),)
    walls = at[tilt < math.cos(math.radians(38))]
    # Its level parts may pass as floors, and part the walls between them.
    return (setting.place((SINGLE_BEAD,), thickness, walls, areas[1], slack, sum(pieces)),)


def sphere_shell(setting: Setting) -> Draft:
    """Hollow ball, closed or cut open."""
    setting.stand()
    wanted = mixed_thickness(setting)
    levels = setting.whole(2, 3) if not setting.fine else 4
    ball = trimesh.creation.icosphere(subdivisions=levels)
    depths = np.einsum("ij,ij->i", ball.face_normals, ball.triangles_center)
    # Both skins have the same facets, so the wall is thinnest where a facet lies deepest.
    across = wanted / float(depths.min())
    radius = setting.between(6, 14) + wanted
    outer, inner = (
        solid_of(trimesh.Trimesh(ball.vertices * r, ball.faces, process=False))
        for r in (radius + across / 2, radius - across / 2)
    )
    solid = outer - inner
    whole = setting.chance(0.4)
    cut = -1.0 if whole else setting.between(-0.3, 0.2)
    if not whole:
        solid = solid.trim_by_plane((0, 0, 1), cut * radius)
    mesh = finished(solid)
    normals = ball.face_normals
    at = normals * radius * depths[:, None]
    keep = at[:, 2] > cut * radius + 2 * wanted
    area = 2 * 2 * math.pi * radius**2 * (1 - cut)
    caps = 2 if whole else 1
    walls = area - caps * 2 * 2 * math.pi * radius**2 * (1 - math.cos(math.radians(30)))
    slack = across * float(depths.max() - depths.min())
    places = mixed_places(
        setting, wanted, at[keep], normals[keep], (0.8 * area, 0.7 * walls), (caps, 1), slack
    )
    name = "hollow ball" if whole else "dome"
    return setting.draft(mesh, places, (), f"{name} of {wanted:.2f}, {len(ball.faces)} facets")


def grid_sheet(
    points: FloatArray, normals: FloatArray, thickness: float
) -> tuple[trimesh.Trimesh, IntArray]:
    """Sheet over a grid (rows, columns, 3) of points, and the facets of its middle."""
    rows, columns = points.shape[:2]
    faces = grid_faces(rows, columns)
    return thickened(points.reshape(-1, 3), normals.reshape(-1, 3), faces, thickness), faces


def bend_slack(points: FloatArray, faces: IntArray, thickness: float) -> float:
    """What facets may take off the thickness of a sheet, by how far neighbours turn."""
    middle = trimesh.Trimesh(points.reshape(-1, 3), faces, process=False)
    bend = float(np.percentile(middle.face_adjacency_angles, 98))
    return thickness * (1 - math.cos(bend)) * 0.6


def wavy_sheet(setting: Setting) -> Draft:
    """Doubly curved sheet, lying as a floor or standing as a wall."""
    wave = setting.between(9, 16)
    steep = math.radians(setting.between(5, 18))
    rise = math.tan(steep) * wave / (2 * math.pi)
    size = setting.between(10, 26), setting.between(10, 26)
    step = setting.between(0.9, 1.3) if not setting.fine else setting.between(0.35, 0.5)
    axes = [np.linspace(0, length, int(length / step) + 1) for length in size]
    x, y = np.meshgrid(*axes, indexing="ij")
    k, shift = 2 * math.pi / wave, setting.between(0, 6)
    z = rise * np.sin(k * x + shift) * np.cos(k * y)
    slope_x = rise * k * np.cos(k * x + shift) * np.cos(k * y)
    slope_y = -rise * k * np.sin(k * x + shift) * np.sin(k * y)
    points = np.stack((x, y, z), axis=-1)
    normals = np.stack((-slope_x, -slope_y, np.ones_like(z)), axis=-1)
    unit = normals / np.linalg.norm(normals, axis=2, keepdims=True)
    setting.tumble(unit.reshape(-1, 3))
    thickness = setting.sheet(Z_AXIS)
    mesh, faces = grid_sheet(points, unit, thickness)
    edge = 0.8 * thickness
    clear = (x > edge) & (x < size[0] - edge) & (y > edge) & (y < size[1] - edge)
    inside = points[clear]
    area = 0.8 * 2 * (size[0] - 2 * thickness) * (size[1] - 2 * thickness)
    slack = bend_slack(points, faces, thickness)
    places = setting.sheet_place(thickness, Z_AXIS, inside, area, slack)
    return setting.draft(mesh, places, (), f"wavy sheet of {thickness:.2f}")


def twisted_fin(setting: Setting) -> Draft:
    """Fin twisted about its height, free or on a block."""
    wide, high = setting.between(7, 16), setting.between(8, 22)
    twist = math.radians(setting.between(20, 110))
    twist = min(twist, 2 * math.tan(math.radians(35)) * high / wide)
    step = setting.between(0.8, 1.2) if not setting.fine else setting.between(0.3, 0.45)
    across = np.linspace(-wide / 2, wide / 2, int(wide / step) + 1)
    up = np.linspace(0, high, int(high / step) + 1)
    s, z = np.meshgrid(across, up, indexing="ij")
    rate = twist / high
    points = np.stack((s * np.cos(rate * z), s * np.sin(rate * z), z), axis=-1)
    normals = np.stack((np.sin(rate * z), -np.cos(rate * z), rate * s), axis=-1)
    unit = normals / np.linalg.norm(normals, axis=2, keepdims=True)
    setting.stand()
    if setting.chance(0.5):
        setting.tumble(unit.reshape(-1, 3))
        if setting.is_floor(unit[0, 0]):
            setting.stand()
    thickness = setting.wall(1.8)
    mesh, faces = grid_sheet(points, unit, thickness)
    slack = bend_slack(points, faces, thickness)
    low = 0.0
    if setting.chance(0.5):
        low = 1.0 + thickness
        base = block((wide + 6, wide + 6, 5 + thickness), (0, 0, low - (5 + thickness) / 2))
        mesh = finished(joined(solid_of(mesh), base))
    rows = up > low + thickness
    rows &= up < high - thickness
    columns = np.abs(across) < wide / 2 - 0.8 * thickness
    inside = points[columns][:, rows].reshape(-1, 3)
    area = 0.8 * 2 * (wide - 2 * thickness) * (high - low - 2 * thickness)
    places = setting.wall_place(thickness, inside, area, slack)
    return setting.draft(
        mesh, places, (), f"fin of {thickness:.2f} twisted by {math.degrees(twist):.0f} degrees"
    )


def tapered_fin(setting: Setting) -> Draft:
    """Fin that thins out from its foot to its flat top, or from one end to the other."""
    half = math.radians(setting.between(0.6, 4.0))
    setting.stand_or_lean(45)
    least = setting.wall()
    # The smallest ball held by both sides touches the flat end as well.
    top = least * (1 - math.sin(half)) / math.cos(half)
    run, long = setting.between(6, 18), setting.between(8, 25)
    foot = top + 2 * run * math.tan(half)
    across = np.array([[-foot / 2, 0], [foot / 2, 0], [top / 2, run], [-top / 2, run]])
    sideways = setting.chance(0.4)
    if sideways:
        body = prism(across, -1, long)
        base = block((foot + 4, run + 4, 6), (0, run / 2, -3))
    else:
        deep = across.copy()
        deep[:2, 1] = -1.0
        deep[:2, 0] *= 1 + 2 * math.tan(half) / foot
        body = fin(deep, 0, long)
        base = block((foot + 4, long + 4, 6), (0, long / 2, -3))
    mesh = finished(joined(body, base), setting.between(0.5, 1.0) if setting.fine else None)
    end = run - least / 2
    steps = np.linspace(least, long - least, max(3, int(long / 1.5)))
    column = np.full_like(steps, end)
    zero = np.zeros_like(steps)
    at = np.column_stack((zero, column, steps) if sideways else (zero, steps, column))
    limit = setting.bead if least < setting.bead else 2 * setting.bead
    under = min(run, (limit / math.cos(half) - top) / (2 * math.tan(half)))
    area = 0.65 * 2 * (long - 2 * least) * max(0.0, under - least)
    places = setting.wall_place(least, at, area)
    # Its thin end may be told as an edge besides: a slender wedge is both.
    allowed: tuple[str, ...] = (KNIFE_EDGE,) if places else ()
    if places and least < setting.bead:
        allowed = (KNIFE_EDGE, SINGLE_BEAD)
    way = "sideways" if sideways else "upwards"
    return setting.draft(mesh, places, allowed, f"fin tapered {way} from {foot:.2f} to {top:.2f}")


def leaned_sheet(setting: Setting) -> Draft:
    """Plane plate between two blocks, at any lean."""
    setting.tumble(X_AXIS[None])
    thickness = setting.sheet(X_AXIS)
    long, high = setting.between(8, 25), setting.between(6, 18)
    body = block((thickness, long, high + 2), (0, long / 2, high / 2))
    ends = [block((6 + thickness, long, 5), (0, long / 2, z)) for z in (-2.5, high + 2.5)]
    mesh = finished(joined(body, *ends), setting.between(0.6, 1.2) if setting.fine else None)
    steps = np.linspace(thickness, long - thickness, max(3, int(long / 2)))
    rows = np.linspace(thickness, high - thickness, max(3, int(high / 2)))
    y, z = (grid.ravel() for grid in np.meshgrid(steps, rows))
    area = 0.85 * 2 * (long - thickness) * (high - thickness)
    places = setting.sheet_place(thickness, X_AXIS, np.column_stack((0 * y, y, z)), area)
    return setting.draft(mesh, places, (), f"plate of {thickness:.2f} between two blocks")
