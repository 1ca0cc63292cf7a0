"""What files do to a mesh: rounded coordinates, needles of facets, points on edges."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from .solids import Array, Indices


def rounded_as(vertices: Array, text_format: str) -> Array:
    """Coordinates as a file keeps them.

    Parameters
    ----------
    vertices
        Corners, mm.
    text_format
        Format of a number in a text file; empty for a binary file, which keeps float32.

    Returns
    -------
    Array
        Rounded corners, mm.
    """
    if not text_format:
        return vertices.astype(np.float32).astype(np.float64)
    flat = [float(format(x, text_format)) for x in vertices.ravel().tolist()]
    return np.array(flat).reshape(vertices.shape) + 0.0


def noise_of(largest: float, text_format: str) -> float:
    """Largest step between two neighbouring coordinates of a file.

    Parameters
    ----------
    largest
        Largest coordinate, mm.
    text_format
        Format of a number in a text file; empty for a binary file.

    Returns
    -------
    float
        The step, at least that of float32, mm.
    """
    single = float(np.spacing(np.float32(largest)))
    power = int(np.floor(np.log10(largest)))
    steps = {"": 0.0, ".6f": 1e-6, ".6g": 10.0 ** (power - 5), ".6e": 10.0 ** (power - 6)}
    return max(single, steps[text_format])


def add_needles(
    rng: np.random.Generator,
    vertices: Array,
    facets: Indices,
    flat: Indices,
    count: int,
    widths: tuple[float, float],
) -> tuple[Array, Indices]:
    """Cut needles along edges of plane triangles; the surface stays what it is.

    Parameters
    ----------
    rng
        Source of the places.
    vertices, facets
        The mesh.
    flat
        Triangles that lie on planes.
    count
        Needles wanted; triangles that are too small get none.
    widths
        Least and largest width of a needle, mm.

    Returns
    -------
    vertices, facets
        The mesh with needles.
    """
    corners = vertices[facets[flat]]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    large = flat[np.linalg.norm(cross, axis=1) > 4.0]
    chosen = rng.permutation(large)[:count]
    points, added = [vertices], []
    kept = np.ones(len(facets), bool)
    total = len(vertices)
    for triangle in chosen.tolist():
        a, b, c = np.roll(facets[triangle], int(rng.integers(3))).tolist()
        edge = vertices[b] - vertices[a]
        side = vertices[c] - vertices[a]
        inward = side - edge * (side @ edge) / (edge @ edge)
        height = float(np.linalg.norm(inward))
        width = float(rng.uniform(*widths))
        if height < 10 * width or np.linalg.norm(edge) < 2.0:
            continue
        t = float(rng.uniform(0.3, 0.7))
        foot = vertices[a] + edge * t
        # Towards the third corner, so that the point stays inside the triangle.
        points.append((foot + (vertices[c] - foot) * width / height)[None])
        added += [[a, b, total], [b, c, total], [c, a, total]]
        kept[triangle] = False
        total += 1
    if not added:
        return vertices, facets
    return np.concatenate(points), np.concatenate([facets[kept], np.array(added)])


def add_joints(
    rng: np.random.Generator, vertices: Array, facets: Indices, count: int
) -> tuple[Array, Indices, int]:
    """Put points on edges of single triangles, whose neighbours across stay whole.

    Parameters
    ----------
    rng
        Source of the places.
    vertices, facets
        The mesh.
    count
        Points wanted.

    Returns
    -------
    vertices, facets
        The mesh with joints.
    made
        Points made.
    """
    points, added = [vertices], []
    kept = np.ones(len(facets), bool)
    total = len(vertices)
    used: set[tuple[int, int]] = set()
    for triangle in rng.permutation(len(facets)).tolist():
        if len(points) > count:
            break
        a, b, c = np.roll(facets[triangle], int(rng.integers(3))).tolist()
        pair = (min(a, b), max(a, b))
        if pair in used or np.linalg.norm(vertices[b] - vertices[a]) < 1.0:
            continue
        used.add(pair)
        points.append((vertices[a] + (vertices[b] - vertices[a]) * rng.uniform(0.2, 0.8))[None])
        added += [[a, total, c], [total, b, c]]
        kept[triangle] = False
        total += 1
    if not added:
        return vertices, facets, 0
    new = np.concatenate([facets[kept], np.array(added)])
    return np.concatenate(points), new, len(points) - 1


def welded(vertices: Array, facets: Indices) -> tuple[Array, Indices]:
    """Mesh with equal corners joined and facets that lost a corner dropped.

    Parameters
    ----------
    vertices, facets
        The mesh.

    Returns
    -------
    vertices, facets
        The welded mesh.
    """
    unique, back = np.unique(vertices, axis=0, return_inverse=True)
    new = back.ravel()[facets]
    whole = (new != np.roll(new, 1, axis=1)).all(axis=1)
    return unique, new[whole].astype(np.int64)


def open_edges(facets: Indices) -> int:
    """Directed edges that no opposite one answers.

    Parameters
    ----------
    facets
        Corner numbers, three a row.

    Returns
    -------
    int
        0 for a closed mesh; 3 for each point on an edge of one triangle alone.
    """
    edges = facets[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    turn = np.where(edges[:, 0] < edges[:, 1], 1, -1)
    _, back = np.unique(np.sort(edges, axis=1), axis=0, return_inverse=True)
    return int(np.abs(np.bincount(back.ravel(), weights=turn)).sum())


def write_stl(path: Path, vertices: Array, facets: Indices, text_format: str) -> None:
    """Write an STL file, text or binary.

    Parameters
    ----------
    path
        The file.
    vertices, facets
        The mesh, mm.
    text_format
        Format of a number in a text file; empty for a binary file.
    """
    corners = vertices[facets]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = cross / np.maximum(np.linalg.norm(cross, axis=1), 1e-300)[:, None]
    if text_format:
        lines = ["solid part"]
        for normal, triangle in zip(normals.tolist(), corners.tolist(), strict=True):
            lines.append("facet normal " + " ".join(format(x, ".6g") for x in normal))
            lines.append("outer loop")
            lines += [
                "vertex " + " ".join(format(x, text_format) for x in corner) for corner in triangle
            ]
            lines += ["endloop", "endfacet"]
        path.write_text("\n".join([*lines, "endsolid part", ""]))
        return
    kind = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    rows = np.zeros(len(facets), kind)
    rows["normal"], rows["corners"] = normals, corners
    path.write_bytes(bytes(80) + np.uint32(len(facets)).tobytes() + rows.tobytes())
