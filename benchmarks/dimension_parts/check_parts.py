"""Checks of the generator itself: closed meshes, volumes, values on the corners, rays."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import trimesh
from numpy.typing import NDArray

from .files import open_edges
from .parts import Part
from .scoring import score
from .solids import Array, Indices
from .truth import Dimension

FLAT_KINDS = ("outside", "inside", "wall", "height", "step", "depth")


def faults_of(part: Part) -> list[str]:
    """What is wrong with a part.

    Parameters
    ----------
    part
        The part.

    Returns
    -------
    list of str
        One line a fault; none for a sound part.
    """
    faults = []
    if open_edges(part.facets) != 3 * part.joints:
        faults.append(f"{open_edges(part.facets)} open edges for {part.joints} joints")
    mesh = trimesh.Trimesh(part.vertices, part.facets, process=False)
    room = 0.6 * part.noise_mm * float(mesh.area) + 1e-6
    volume = float(mesh.volume)
    if part.volume_mm3 is not None and abs(volume - part.volume_mm3) > room:
        faults.append(f"volume {volume:.4f} where the formula gives {part.volume_mm3:.4f}")
    near = 2 * part.noise_mm
    for one in part.dimensions:
        if one.kind in FLAT_KINDS and not one.radial:
            faults += _levels(part, one, near)
        elif one.kind in ("bore", "boss"):
            faults += _circle(part, one, near)
    rows = [
        {"kind": d.kind, "value_mm": d.value_mm, "direction": d.direction} for d in part.dimensions
    ]
    missed, invented = score(part, rows)
    if missed or invented:
        faults.append(f"its own list misses {len(missed)} and invents {len(invented)}")
    return faults


def _levels(part: Part, one: Dimension, near: float) -> list[str]:
    """A length needs corners at both of its levels."""
    along = (part.vertices - one.place) @ one.direction
    here = (np.abs(along) < near).sum()
    there = max((np.abs(along - s * one.value_mm) < near).sum() for s in (1, -1))
    if one.kind == "depth":
        here = 3
        level = np.sort(along)
        first = np.searchsorted(level, level + one.value_mm - near)
        last = np.searchsorted(level, level + one.value_mm + near)
        there = int((last > first).sum())
    if min(here, there) < 1:
        return [f"{one.kind} {one.value_mm:.4f} has no corners at its ends"]
    return []


def _circle(part: Part, one: Dimension, near: float) -> list[str]:
    """A diameter needs corners on its circle all around."""
    count = int((np.abs(_across(part, one) - one.value_mm / 2) < near).sum())
    if count < 12:
        return [f"{one.kind} {one.value_mm:.4f} has {count} corners on its circle"]
    return []


def lengths_by_rays(part: Part, count: int = 4000) -> list[tuple[dict[str, object], int]]:
    """Lengths between plane faces that rays meet, without the construction.

    Parameters
    ----------
    part
        The part; its file must be fine enough that a plane's triangles share one normal.
    count
        Rays into the metal and as many out of it.

    Returns
    -------
    list
        Rows with kind, value and direction, and how many rays met each.
    """
    mesh = trimesh.Trimesh(part.vertices, part.facets, process=False)
    patch, area = _patches(mesh, part.noise_mm)
    for one in part.true_distances:
        if one.kind in ("bore", "boss") and one.value_mm != one.over_flats_mm:
            off = np.abs(_across(part, one) - one.value_mm / 2) < 2 * part.noise_mm
            area[patch[off[part.facets].all(axis=1) & _beside(mesh, one)]] = 0.0
    spots, source = trimesh.sample.sample_surface(mesh, count, seed=part.seed)
    good = area[patch[source]] > 4.0
    spots, source = spots[good], source[good]
    normals = mesh.face_normals[source]
    found: dict[tuple[str, float, tuple[float, ...]], list[tuple[float, Array]]] = defaultdict(list)
    for kind, sign in (("wall", -1.0), ("inside", 1.0)):
        starts = spots + sign * normals * 1e-3
        _, rays, targets = mesh.ray.intersects_location(starts, sign * normals, multiple_hits=False)
        for ray, target in zip(rays, targets, strict=True):
            facing = float(mesh.face_normals[target] @ normals[ray])
            if facing > -1 + 1e-8 or area[patch[target]] < 4.0:
                continue
            way = normals[ray] if normals[ray][np.abs(normals[ray]).argmax()] > 0 else -normals[ray]
            value = abs(float((mesh.triangles[target][0] - spots[ray]) @ normals[ray]))
            key = (kind, round(value, 2), tuple(np.round(way, 3).tolist()))
            found[key].append((value, way))
    return [
        ({"kind": k[0], "value_mm": v[0][0], "direction": v[0][1]}, len(v))
        for k, v in found.items()
    ]


def _patches(mesh: trimesh.Trimesh, noise: float) -> tuple[Indices, Array]:
    """Plane of each triangle, and the area of each plane."""
    level = (mesh.triangles_center * mesh.face_normals).sum(axis=1)
    key = np.column_stack([np.round(mesh.face_normals, 4), np.round(level / max(noise, 1e-3) / 2)])
    _, back = np.unique(key + 0.0, axis=0, return_inverse=True)
    patch = back.ravel()
    area = np.bincount(patch, weights=np.asarray(mesh.area_faces, float))
    return patch.astype(np.int64), area.astype(np.float64)


def _across(part: Part, one: Dimension) -> Array:
    """Distance of each corner from the axis of a diameter, mm."""
    way = part.vertices - one.place
    off = way - np.outer(way @ one.direction, one.direction)
    return np.asarray(np.linalg.norm(off, axis=1))


def _beside(mesh: trimesh.Trimesh, one: Dimension) -> NDArray[np.bool_]:
    """Triangles that lie along an axis rather than across it."""
    return np.asarray(np.abs(mesh.face_normals @ one.direction) < 0.1)
