"""Test parts whose true dimensions are known by construction: one seed, one part."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from .faces import cylinders, plane_faces, shared_way, too_close
from .families import FAMILIES
from .files import add_joints, add_needles, noise_of, rounded_as, welded, write_stl
from .kit import Kit
from .solids import Array, Indices
from .truth import Dimension, truth_of

LEAST_MM = 0.05
TRIES = 40


@dataclass(frozen=True)
class Part:
    """A part and everything that is true of it.

    Parameters
    ----------
    seed, family
        What it was made from.
    vertices, facets
        The mesh as the file keeps it, mm. Where ``joints`` is 0 every edge is shared by two
        facets; each joint leaves three edges open, all on one straight line.
    as_text_stl
        Whether it is to be written as text with rounded coordinates.
    text_format
        Format of each number in the text file; empty for a binary file.
    noise_mm
        Largest step between two neighbouring coordinates of the file.
    turned, moved
        Whether it was turned by an arbitrary rotation, and moved off the origin.
    joints, slivers
        Points on an edge of one facet alone, and needles, asked for.
    dimensions
        The complete list of what must be found.
    true_distances
        Every true distance, also those that need not be found.
    volume_mm3
        Volume by formula before rounding, ``None`` where no short formula tells it.
    """

    seed: int
    family: str
    vertices: Array
    facets: Indices
    as_text_stl: bool
    text_format: str
    noise_mm: float
    turned: bool
    moved: bool
    joints: int
    slivers: int
    dimensions: list[Dimension]
    true_distances: list[Dimension]
    volume_mm3: float | None

    def write(self, path: Path) -> None:
        """Write the part as its STL file.

        Parameters
        ----------
        path
            The file.
        """
        write_stl(path, self.vertices, self.facets, self.text_format)


def make_part(seed: int) -> Part:
    """The part of a seed.

    Parameters
    ----------
    seed
        Any number from 0; its remainder by the count of families picks the family.

    Returns
    -------
    Part
        The same part for the same seed.

    Raises
    ------
    ValueError
        If no part with well-separated surfaces came out.
    """
    for attempt in range(TRIES):
        part = _try(seed, np.random.default_rng([seed, attempt]))
        if part is not None:
            return part
    raise ValueError(f"seed {seed}: no part with well-separated surfaces in {TRIES} tries")


def _try(seed: int, rng: np.random.Generator) -> Part | None:
    family = list(FAMILIES)[seed % len(FAMILIES)]
    turned, as_text = bool(rng.random() < 0.42), bool(rng.random() < 0.37)
    moved = bool(rng.random() < 0.25)
    text_format = str(rng.choice([".6g", ".6f", ".6e"], p=[0.5, 0.25, 0.25])) if as_text else ""
    kit = Kit(rng, noise_of(250.0 if moved else 99.0, text_format))
    FAMILIES[family](kit)
    mesh = kit.body.mesh()
    planes, rounds = plane_faces(mesh), cylinders(mesh)
    if too_close(planes, rounds, LEAST_MM):
        return None
    truth = truth_of(kit.body, mesh, planes, rounds)
    turn = np.asarray(Rotation.random(random_state=rng).as_matrix()) if turned else np.eye(3)
    middle = (mesh.vertices.max(axis=0) + mesh.vertices.min(axis=0)) / 2
    shift = -turn @ middle
    if not turned:
        shift[2] = -mesh.vertices[:, 2].min()
    if moved:
        shift = shift + np.round(rng.uniform(-130, 130, 3), 2)
    vertices, facets = mesh.vertices @ turn.T + shift, mesh.facets
    slivers = int(rng.integers(3, 30)) if rng.random() < 0.3 else 0
    joints = int(rng.integers(3, 60)) if rng.random() < 0.3 else 0
    kinds = np.array([s.kind == "plane" for s in mesh.surfaces])[mesh.owner]
    if slivers:
        widths = (3 * kit.noise_mm, 20 * kit.noise_mm)
        flat = np.flatnonzero(kinds)
        vertices, facets = add_needles(rng, vertices, facets, flat, slivers, widths)
    if joints:
        vertices, facets, joints = add_joints(rng, vertices, facets, joints)
    vertices, facets = welded(rounded_as(vertices, text_format), facets)
    noise = noise_of(float(np.abs(vertices).max()), text_format)
    for one in rounds:
        if one.round and one.radius - one.flat_radius < 3 * noise:
            return None
    planted = [_moved(d, turn, shift, turned) for d in truth.planted]
    true = [_moved(d, turn, shift, turned) for d in truth.allowed]
    overall = _extents(vertices, np.eye(3))
    if not turned:
        planted += [d for d in overall if not _known(d, planted)]
    ways = np.array([*turn.T, *np.eye(3), *(d.direction for d in true if d.kind != "span")])
    ways = np.unique(np.round([shared_way(w) for w in ways], 9), axis=0)
    true += overall + _extents(vertices, ways)
    return Part(
        seed, family, vertices, facets, as_text, text_format, noise, turned, moved, joints,
        slivers, planted, true, kit.body.volume_mm3,
    )  # fmt: skip


def _moved(one: Dimension, turn: Array, shift: Array, turned: bool) -> Dimension:
    kind = "outside" if turned and one.kind == "height" else one.kind
    return replace(one, kind=kind, direction=turn @ one.direction, place=turn @ one.place + shift)


def _extents(vertices: Array, ways: Array) -> list[Dimension]:
    """Overall sizes along directions, from the corners themselves."""
    along = vertices @ ways.T
    values = along.max(axis=0) - along.min(axis=0)
    spots = vertices[along.argmin(axis=0)]
    return [
        Dimension("outside", float(v), w, p, room_mm=float(v))
        for v, w, p in zip(values, ways, spots, strict=True)
    ]


def _known(one: Dimension, planted: list[Dimension]) -> bool:
    return any(
        d.kind in ("outside", "height", "wall")
        and abs(d.value_mm - one.value_mm) < 2e-5
        and abs(d.direction @ one.direction) > 1 - 1e-9
        for d in planted
    )
