"""Parts with a planted thin place, and parts without any, each from its seed alone.

A part has its own nozzle, stands any way up, far from the origin or near, and is meshed
coarsely, finely or with slender facets. The limit of its wall follows from the way the wall
stands in the print.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import trimesh
from manifold3d import Manifold
from numpy.typing import NDArray

from shrinkrule.printer import Printer
from shrinkrule.walls import FindingKind, WallLimits
from walls.solids import PLACES, TIPS, Draw, Solid, as_wide_as
from walls.sound_solids import SOUND

Floats = NDArray[np.float64]

LIMITS: Final = WallLimits()

WALLS: Final = frozenset({FindingKind.THIN_WALL, FindingKind.SINGLE_BEAD})
FLOOR: Final = frozenset({FindingKind.THIN_FLOOR})
SPREADING: Final = frozenset(
    {"knife", "spike", "tapered", "parallel_bores", "corner_to_corner", "round_dimple", "lens"}
)
"""Places that run along the part or shade off into it."""

THIN: Final = WALLS | FLOOR | {FindingKind.KNIFE_EDGE}


MESHES: Final = {"plain": 0.4, "slender": 0.22, "zero": 0.15, "fine": 0.2, "very fine": 0.03}
"""Shares of parts meshed coarsely, with slender facets, with facets without area, and finely."""


@dataclass(frozen=True)
class Part:
    """A green part, what it is printed with, and its planted place if it has one."""

    seed: int
    family: str
    mesh: trimesh.Trimesh
    printer: Printer
    least: float
    kinds: frozenset[FindingKind] = frozenset()
    box: tuple[Floats, Floats] = field(default_factory=lambda: (np.zeros(3), np.zeros(3)))
    reach: tuple[Floats, Floats] = field(default_factory=lambda: (np.zeros(3), np.zeros(3)))
    description: str = ""

    def __str__(self) -> str:
        return (
            f"{self.family} seed {self.seed}: least {self.least:.5f} mm, {len(self.mesh.faces)} "
            f"facets, nozzle {self.printer.nozzle_mm:.3f}, {self.description}"
        )


def _printer(rng: np.random.Generator) -> Printer:
    nozzle = float(rng.uniform(0.4, 0.8))
    return Printer.from_nozzle(nozzle, layer_height_mm=nozzle * float(rng.uniform(0.3, 0.6)))


def _ample(printer: Printer) -> float:
    return 1.5 * max(LIMITS.sound_mm(printer), LIMITS.floor_mm(printer))


def _turn(rng: np.random.Generator, stands: str) -> Floats:
    """Rotation that lays local z as wanted: flat, upright, or anyhow but not near 30 degrees."""
    while True:
        spin = trimesh.transformations.rotation_matrix(rng.uniform(0, 2 * np.pi), [0, 0, 1])
        if stands == "level":
            return np.asarray(spin)
        if stands == "upright":
            lay = trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0])
            return np.asarray(spin @ lay)
        turn = np.asarray(trimesh.transformations.random_rotation_matrix(rng.random(3)))
        steep = np.degrees(np.arccos(min(1.0, abs(float(turn[2, 2])))))
        if abs(steep - 30.0) > 5.0:
            return turn


def _slender_facets(rng: np.random.Generator, mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """Split facets at a point beside a corner or an edge, into one facet and two slender ones."""
    vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    for _ in range(int(rng.integers(1, 4))):
        some = rng.choice(len(faces), size=min(len(faces), 40), replace=False)
        slim = 10.0 ** rng.uniform(-3.0, -1.0, size=(len(some), 1))
        share = np.hstack([1.0 - 2.0 * slim, slim, slim])
        share = rng.permuted(share, axis=1)
        points = np.einsum("ij,ijk->ik", share, vertices[faces[some]])
        number = len(vertices) + np.arange(len(some))
        a, b, c = faces[some].T
        fresh = [np.column_stack(x) for x in ((a, b, number), (b, c, number), (c, a, number))]
        faces = np.vstack([np.delete(faces, some, axis=0), *fresh])
        vertices = np.vstack([vertices, points])
    return trimesh.Trimesh(vertices, faces, process=False, validate=False)


def _zero_facets(rng: np.random.Generator, mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """Split a facet at an edge's middle and close the gap with a facet without area."""
    vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    some = rng.choice(len(faces), size=min(len(faces), 6), replace=False)
    a, b, c = faces[some].T
    number = len(vertices) + np.arange(len(some))
    fresh = [np.column_stack(x) for x in ((a, number, c), (number, b, c), (a, b, number))]
    faces = np.vstack([np.delete(faces, some, axis=0), *fresh])
    vertices = np.vstack([vertices, (vertices[a] + vertices[b]) / 2.0])
    return trimesh.Trimesh(vertices, faces, process=False, validate=False)


def _meshed(rng: np.random.Generator, solid: Manifold) -> tuple[trimesh.Trimesh, str]:
    how = str(rng.choice(list(MESHES), p=list(MESHES.values())))
    if "fine" in how:
        most = 5_000 if how == "fine" else 25_000
        solid = solid.refine_to_length(1.5 * np.sqrt(2.0 * solid.surface_area() / most))
    made = solid.to_mesh64()
    mesh = trimesh.Trimesh(
        np.asarray(made.vert_properties, dtype=np.float64)[:, :3],
        np.asarray(made.tri_verts, dtype=np.int64),
        process=False,
        validate=False,
    )
    if how == "slender":
        mesh = _slender_facets(rng, mesh)
    if how == "zero":
        mesh = _zero_facets(rng, mesh)
    return mesh, how


def _placed(
    rng: np.random.Generator, mesh: trimesh.Trimesh, turn: Floats
) -> tuple[trimesh.Trimesh, Floats]:
    move = turn.copy()
    move[:3, 3] = rng.uniform(-1, 1, 3) * float(rng.choice([5.0, 50.0, 1000.0]))
    return mesh.apply_transform(move), move


def _box(low: Floats, high: Floats, move: Floats, grow: float) -> tuple[Floats, Floats]:
    corners = np.array(np.meshgrid(*zip(low, high, strict=True))).reshape(3, -1).T
    corners = trimesh.transform_points(corners, move)
    return corners.min(axis=0) - grow, corners.max(axis=0) + grow


def _limit(rng: np.random.Generator, printer: Printer, turn: Floats, all_round: bool) -> float:
    exist, sound = LIMITS.exist_mm(printer), LIMITS.sound_mm(printer)
    floor = LIMITS.floor_mm(printer)
    bead = float(rng.choice([exist, sound]))
    if all_round:
        return min(bead, floor)
    return floor if abs(turn[2, 2]) > np.cos(np.radians(30.0)) else bead


def _kinds(wall: float, printer: Printer, turn: Floats, all_round: bool) -> frozenset[FindingKind]:
    exist = LIMITS.exist_mm(printer)
    if not all_round and abs(turn[2, 2]) > np.cos(np.radians(30.0)):
        return FLOOR
    named = {FindingKind.THIN_WALL} if wall < exist * 1.005 else set()
    named |= {FindingKind.SINGLE_BEAD} if wall > exist * 0.995 else set()
    return frozenset(named | (FLOOR if all_round else frozenset()))


def planted_part(seed: int) -> Part:
    """Make a part with a thin place, 2 to 50 % under its limit."""
    rng = np.random.default_rng([1, seed])
    tips = {builder.__name__: builder for builder in TIPS}
    names = [*PLACES, *tips]
    name = names[seed % len(names)]
    printer = _printer(rng)
    stands = str(rng.choice(["level", "upright", "anyhow", "anyhow"]))
    turn = _turn(rng, stands)
    all_round = name in ("tube", "hollow_ball", "hollow_ring", "eccentric_bore")
    limit = _limit(rng, printer, turn, all_round)
    thin = float(rng.choice([rng.uniform(0.02, 0.05), rng.uniform(0.02, 0.5)]))
    draw = Draw(rng, limit * (1.0 - thin), limit, _ample(printer))
    made = tips[name](draw) if name in tips else _settled(name, draw, seed)
    mesh, how = _meshed(rng, made.solid)
    mesh, move = _placed(rng, mesh, turn)
    kinds = _kinds(draw.wall, printer, turn, all_round)
    if name in tips:
        kinds = frozenset({FindingKind.KNIFE_EDGE})
    reach = _box(made.low, made.high, move, 1.5 * LIMITS.sound_mm(printer) + 1.0)
    if all_round or name in SPREADING:
        reach = (mesh.bounds[0] - 1.0, mesh.bounds[1] + 1.0)
    description = f"limit {limit:.4f}, thin by {100 * thin:.1f} %, {stands}, {how}"
    box = _box(made.low, made.high, move, 1e-6)
    return Part(seed, name, mesh, printer, made.least, kinds, box, reach, description)


def sound_part(seed: int) -> Part:
    """Make a part without a thin place; every other one has a wall just over its limit."""
    rng = np.random.default_rng([2, seed])
    printer = _printer(rng)
    stands = str(rng.choice(["level", "upright", "anyhow", "anyhow"]))
    limit = _ample(printer) / 1.5
    over = float(rng.choice([rng.uniform(0.02, 0.05), rng.uniform(0.02, 0.5)]))
    draw = Draw(rng, limit * (1.0 + over), limit, _ample(printer))
    if seed % 2:
        name = list(PLACES)[seed // 2 % len(PLACES)]
        solid = _settled(name, draw, seed).solid
    else:
        name = list(SOUND)[seed // 2 % len(SOUND)]
        solid = SOUND[name](draw)
    mesh, how = _meshed(rng, solid)
    mesh, _ = _placed(rng, mesh, _turn(rng, stands))
    description = f"limit {limit:.4f}, over by {100 * over:.1f} %, {stands}, {how}"
    return Part(seed, name, mesh, printer, draw.wall, description=description)


def _settled(name: str, draw: Draw, seed: int) -> Solid:
    builder: Callable[[Draw], Solid] = PLACES[name]
    return as_wide_as(builder, draw, seed)
