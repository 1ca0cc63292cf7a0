"""Parts whose dimensions are known by construction, and what files do to them."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import manifold3d
import numpy as np
import trimesh

from shrinkrule.dimensions.dimension import Dimension, Kind
from shrinkrule.dimensions.find import FoundDimensions, find_dimensions
from shrinkrule.mesh import part_from_mesh
from shrinkrule.numerics.arrays import Floats


def box(size: Iterable[float], at: Iterable[float] = (0, 0, 0)) -> manifold3d.Manifold:
    return manifold3d.Manifold.cube(list(size)).translate(list(at))


def rod(diameter: float, length: float, at: Iterable[float], facets: int) -> manifold3d.Manifold:
    """Cylinder along Z from ``at``; its corners are on the circle."""
    r = diameter / 2
    return manifold3d.Manifold.cylinder(length, r, r, facets).translate(list(at))


def mesh_of(solid: manifold3d.Manifold) -> trimesh.Trimesh:
    mesh = solid.to_mesh64()
    return trimesh.Trimesh(
        np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts), process=False
    )


def single(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """Mesh as a binary file would hold it."""
    vertices = np.asarray(mesh.vertices).astype(np.float32).astype(np.float64)
    return trimesh.Trimesh(vertices, mesh.faces, process=False)


def turned(mesh: trimesh.Trimesh, seed: int) -> trimesh.Trimesh:
    rng = np.random.default_rng(seed)
    matrix = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    matrix *= np.sign(np.linalg.det(matrix))
    vertices = np.asarray(mesh.vertices) @ matrix.T + rng.uniform(-50, 50, 3)
    return trimesh.Trimesh(vertices, mesh.faces, process=False)


def text_file(mesh: trimesh.Trimesh, path: Path, form: str) -> Path:
    """Text STL with numbers of a form, as ``%.3f``."""
    lines = ["solid part"]
    for corners in np.asarray(mesh.triangles):
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += ["vertex " + " ".join(form % value for value in corner) for corner in corners]
        lines += ["endloop", "endfacet"]
    path.write_text("\n".join([*lines, "endsolid part"]), encoding="ascii")
    return path


def with_t_joints(mesh: trimesh.Trimesh, count: int, slivers: bool) -> trimesh.Trimesh:
    """Split long sides of one facet only, or fill the joint with a sliver."""
    vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    rng = np.random.default_rng(7)
    sides = np.linalg.norm(mesh.triangles[:, 1] - mesh.triangles[:, 0], axis=1)
    chosen = rng.permutation(np.flatnonzero(sides > 0.5))[:count]
    share = rng.uniform(0.2, 0.8, len(chosen))
    a, b, c = faces[chosen].T
    points = vertices[a] + share[:, None] * (vertices[b] - vertices[a])
    points = points.astype(np.float32).astype(np.float64)
    new = len(vertices) + np.arange(len(chosen))
    parts = [np.delete(faces, chosen, axis=0), np.stack([a, new, c], 1), np.stack([new, b, c], 1)]
    if slivers:
        parts.append(np.stack([a, b, new], 1))
    return trimesh.Trimesh(np.concatenate([vertices, points]), np.concatenate(parts), process=False)


def plate() -> tuple[manifold3d.Manifold, dict[Kind, list[float]]]:
    """Plate 60 x 40 x 8 with two bores, a blind one, a boss and a pocket; and what it measures."""
    solid = box((60, 40, 8)) + rod(10, 4.5, (45, 28, 7.5), 64)
    for hole in (
        rod(6, 20, (12, 11, -5), 48),
        rod(6, 20, (12, 29, -5), 48),
        rod(5.2, 10, (30, 9, 3), 36),
        box((14, 9, 9), (22, 24, 5)),
    ):
        solid -= hole
    return solid, {
        Kind.OVERALL: [60.0, 40.0, 12.0],
        Kind.BORE: [6.0, 5.2],
        Kind.BOSS: [10.0],
        Kind.DEPTH: [8.0, 5.0, 4.0],
        # 8 the plate, 12 the boss over it, 3 and 5 the floors of the blind bore and of the pocket;
        # the rest from the pocket's sides to the plate's.
        Kind.WALL: [8.0, 12.0, 3.0, 5.0, 22.0, 24.0, 7.0],
        Kind.INSIDE: [14.0, 9.0],
        Kind.STEP: [4.0, 5.0, 3.0, 9.0, 7.0, 2.0],
        Kind.AXES: [18.0, float(np.hypot(18, 2)), float(np.hypot(18, 20))],
        Kind.TO_FACE: [12.0, 48.0, 11.0, 29.0, 30.0, 9.0, 31.0, 45.0, 15.0, 28.0],
    }


def found_on(mesh: trimesh.Trimesh) -> FoundDimensions:
    return find_dimensions(part_from_mesh(mesh))


def sizes(found: Iterable[Dimension], kind: Kind) -> Floats:
    return np.array([one.size_mm for one in found if one.kind is kind])


def missing(
    found: FoundDimensions, wanted: dict[Kind, list[float]], within: float
) -> list[tuple[Kind, float]]:
    """Wanted sizes that are in no dimension of their kind."""
    return [
        (kind, size)
        for kind, some in wanted.items()
        for size in some
        if not (np.abs(sizes(found.every, kind) - size) <= within).any()
    ]
