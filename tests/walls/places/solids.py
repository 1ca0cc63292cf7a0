"""Exact solids to build parts from: prisms, turned bodies, wires and thickened sheets."""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import shapely
import trimesh
from manifold3d import CrossSection, FillRule, Manifold, Mesh64, OpType

from .part import FloatArray, IntArray
from .setting import rotation

Solid: TypeAlias = Manifold


def block(size: tuple[float, float, float], middle: tuple[float, float, float]) -> Solid:
    """Box of this size about this middle."""
    return Solid.cube(size, True).translate(middle)


def prism(outline: FloatArray | shapely.Polygon, low: float, high: float) -> Solid:
    """Outline in X and Y (counter-clockwise), from one height to another."""
    section = CrossSection(_rings(outline), FillRule.EvenOdd)
    return Solid.extrude(section, high - low).translate((0.0, 0.0, low))


def fin(profile: FloatArray | shapely.Polygon, low: float, high: float) -> Solid:
    """Profile in X and Z, drawn out along Y from ``low`` to ``high``."""
    # The prism's Y becomes Z and its height runs towards -Y.
    return prism(profile, -high, -low).rotate((90.0, 0.0, 0.0))


def turned(profile: FloatArray | shapely.Polygon, sides: int) -> Solid:
    """Profile in radius and Z, turned about Z in this many flats."""
    section = CrossSection(_rings(profile), FillRule.EvenOdd)
    return section.revolve(sides)


def rod(outline: FloatArray, start: FloatArray, end: FloatArray) -> Solid:
    """Outline about the origin, drawn straight from one point to another."""
    way = np.asarray(end, dtype=np.float64) - start
    length = float(np.linalg.norm(way))
    return moved(prism(outline, 0.0, length), frame_along(way), start)


def moved(solid: Solid, turn: FloatArray, shift: FloatArray) -> Solid:
    """Turn a solid about the origin, then move it."""
    return solid.transform(np.column_stack((turn, np.asarray(shift, dtype=np.float64))))


def leaned(solid: Solid, degrees: float, foot: FloatArray) -> Solid:
    """Lean a solid about the line along Y through ``foot``."""
    turn = rotation(np.array([0.0, 1.0, 0.0]), degrees)
    return moved(solid, turn, foot - turn @ foot)


def joined(*solids: Solid) -> Solid:
    """Union of all."""
    return Solid.batch_boolean(list(solids), OpType.Add)


def finished(solid: Solid, edge: float | None = None, most: int = 55_000) -> trimesh.Trimesh:
    """Mesh of a solid; with ``edge`` no edge is longer, as far as ``most`` facets allow."""
    if edge is not None:
        # An even triangle of side e has the area 0.43 e^2; splitting leaves about twice as many.
        least = math.sqrt(solid.surface_area() / (0.43 * most) * 2.2)
        refined = solid.refine_to_length(max(edge, least))
        if refined.num_tri() <= 60_000:
            solid = refined
    mesh = solid.to_mesh64()
    return trimesh.Trimesh(
        np.asarray(mesh.vert_properties[:, :3], dtype=np.float64),
        np.asarray(mesh.tri_verts, dtype=np.int64),
        process=False,
    )


def solid_of(mesh: trimesh.Trimesh) -> Solid:
    """Solid bounded by a watertight mesh."""
    return Solid(
        Mesh64(
            vert_properties=np.ascontiguousarray(mesh.vertices, dtype=np.float64),
            tri_verts=np.ascontiguousarray(mesh.faces, dtype=np.uint64),
        )
    )


def polygon(sides: int, across_flats: float, phase: float = 0.5) -> FloatArray:
    """Regular polygon that a circle of this diameter just fits into."""
    angles = (np.arange(sides) + phase) * 2 * math.pi / sides
    radius = across_flats / 2 / math.cos(math.pi / sides)
    return radius * np.column_stack((np.cos(angles), np.sin(angles)))


def frame_along(way: FloatArray) -> FloatArray:
    """Rotation that brings Z to a direction."""
    z = way / np.linalg.norm(way)
    aside = np.eye(3)[int(np.argmin(np.abs(z)))]
    x = np.cross(aside, z)
    x /= np.linalg.norm(x)
    return np.column_stack((x, np.cross(z, x), z))


def wire(path: FloatArray, outline: FloatArray, closed: bool) -> trimesh.Trimesh:
    """Outline (k, 2) swept along a path (m, 3), square to it at each of its points.

    The frame is carried along without twist. Of a closed path the last point joins the first; it
    must be flat, so that the frame comes back to itself.
    """
    ahead = np.roll(path, -1, axis=0) - path
    if closed:
        tangents = ahead / np.linalg.norm(ahead, axis=1, keepdims=True)
        tangents = tangents + np.roll(tangents, 1, axis=0)
    else:
        unit = ahead[:-1] / np.linalg.norm(ahead[:-1], axis=1, keepdims=True)
        tangents = np.vstack((unit[:1], unit[:-1] + unit[1:], unit[-1:]))
    bend = np.linalg.norm(tangents, axis=1, keepdims=True)
    tangents = tangents / bend
    across = np.zeros_like(path)
    across[0] = frame_along(tangents[0])[:, 0]
    for index in range(1, len(path)):  # over the points of a path, not over facets
        flat = across[index - 1] - tangents[index] * (across[index - 1] @ tangents[index])
        across[index] = flat / np.linalg.norm(flat)
    beside = np.cross(tangents, across)
    # A mitre: square to the path the section keeps its width between two points.
    rings = (
        path[:, None, :]
        + across[:, None, :] * outline[None, :, 0, None]
        + beside[:, None, :] * outline[None, :, 1, None]
    )
    rows, columns = len(path), len(outline)
    faces = grid_faces(rows, columns, wrap_rows=closed, wrap_columns=True)
    vertices: FloatArray = rings.reshape(-1, 3)
    if not closed:
        count = len(vertices)
        vertices = np.vstack((vertices, path[:1], path[-1:]))
        ring: IntArray = np.arange(columns, dtype=np.int64)
        after = (ring + 1) % columns
        last = (rows - 1) * columns
        start = np.column_stack((after, ring, np.full(columns, count)))
        end = np.column_stack((ring + last, after + last, np.full(columns, count + 1)))
        faces = np.vstack((faces, start, end))
    return outward(trimesh.Trimesh(vertices, faces, process=False))


def grid_faces(
    rows: int, columns: int, wrap_rows: bool = False, wrap_columns: bool = False
) -> IntArray:
    """Triangles of a grid of points, numbered row by row."""
    wide = columns if wrap_columns else columns - 1
    cells = np.arange((rows if wrap_rows else rows - 1) * wide)
    row, column = cells // wide, cells % wide
    below, right = (row + 1) % rows, (column + 1) % columns
    a, b = row * columns + column, row * columns + right
    c, d = below * columns + right, below * columns + column
    return np.vstack((np.column_stack((a, b, c)), np.column_stack((a, c, d)))).astype(np.int64)


def thickened(
    points: FloatArray, normals: FloatArray, faces: IntArray, thickness: float
) -> trimesh.Trimesh:
    """Sheet of this thickness about a surface, offset to both sides along its exact normals.

    The rims stand square to the surface. An open or a closed surface will do.
    """
    normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    count = len(points)
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    codes = edges[:, 0] * count + edges[:, 1]
    rim = edges[~np.isin(codes, edges[:, 1] * count + edges[:, 0])]
    a, b = rim[:, 0], rim[:, 1]
    sides = np.vstack(
        (np.column_stack((b, a, a + count)), np.column_stack((b, a + count, b + count)))
    )
    vertices = np.vstack((points + normals * thickness / 2, points - normals * thickness / 2))
    return outward(
        trimesh.Trimesh(vertices, np.vstack((faces, faces[:, ::-1] + count, sides)), process=False)
    )


def outward(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """The same mesh with its facets facing out."""
    if mesh.volume < 0:
        return trimesh.Trimesh(mesh.vertices, mesh.faces[:, ::-1], process=False)
    return mesh


def _rings(outline: FloatArray | shapely.Polygon) -> list[FloatArray]:
    if isinstance(outline, shapely.Polygon):
        rings = [outline.exterior, *outline.interiors]
        return [np.asarray(ring.coords, dtype=np.float64)[:-1, :2].copy() for ring in rings]
    return [np.ascontiguousarray(outline, dtype=np.float64)]
