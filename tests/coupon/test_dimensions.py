"""Every nominal of the sheet is really there on the mesh, and a hand caliper reaches it.

Faces are found by rays against all facets in float64, independent of the design's
formulas; access by laying a solid jaw where the tool must go and asking for overlap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold, Mesh64

from shrinkrule.coupon import CouponPlan, Dimension, Piece, Tool, design_coupon
from shrinkrule.coupon.piece import (
    AXES,
    INSIDE_JAW_MM,
    JAW_DEPTH_MM,
    JAW_GRIP_MM,
    JAW_WIDTH_MM,
    ROD_MM,
)
from shrinkrule.furnace import BoxFurnace, CrucibleFurnace, Furnace
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind

LARGEST_SHRINKAGE = 0.22
"""A coupon must still be measurable after it: more than published ones."""

Vector = Floats
REACH = 40.0  # jaws of a common hand caliper are 40 mm deep

CASES: list[tuple[Furnace, Printer]] = [
    (BoxFurnace(80.0, 60.0, 50.0), Printer.from_nozzle(0.6)),
    (BoxFurnace(120.0, 120.0, 80.0), Printer.from_nozzle(0.8)),
    (CrucibleFurnace(60.0, 22.0), Printer.from_nozzle(0.4)),
    (CrucibleFurnace(90.0, 60.0), Printer.from_nozzle(0.6, 0.72, 0.25)),
]


@dataclass(frozen=True)
class Case:
    piece: Piece
    dim: Dimension

    @property
    def axis(self) -> Vector:
        unit = np.zeros(3)
        unit[AXES[self.dim.line.axis]] = 1.0
        return unit

    @property
    def ends(self) -> list[tuple[Vector, Vector]]:
        """Both touching points, each with the direction out of the material."""
        start, end = np.array(self.dim.start), np.array(self.dim.end)
        along = self.axis * np.sign(self.axis @ (end - start))
        if self.dim.tool is Tool.DEPTH_ROD:
            back = -np.array(self.dim.approach)
            return [(start, back), (end, back)]
        if self.dim.tool in {Tool.INSIDE_JAWS, Tool.PIN}:
            return [(start, along), (end, -along)]
        return [(start, -along), (end, along)]


def cases() -> list[Case]:
    return [
        Case(piece, dim)
        for furnace, printer in CASES
        for piece in design_coupon(CouponPlan(printer, furnace)).pieces
        for dim in piece.dimensions
        if dim.tool is not Tool.FEELER
    ]


ALL = cases()


def first_hit(mesh: trimesh.Trimesh, origin: Vector, direction: Vector) -> float:
    """Distance to the nearest facet along a ray (Moller and Trumbore, from memory), float64."""
    corner, b, c = (mesh.triangles[:, i].astype(np.float64) for i in range(3))
    e1, e2 = b - corner, c - corner
    p = np.cross(direction, e2)
    det = np.sum(e1 * p, axis=1)
    crossed = np.abs(det) > 1e-12
    inverse = 1.0 / np.where(crossed, det, 1.0)
    t = origin - corner
    u = np.sum(t * p, axis=1) * inverse
    q = np.cross(t, e1)
    v = q @ direction * inverse
    distance = np.sum(e2 * q, axis=1) * inverse
    hit = crossed & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (distance > 1e-9)
    return float(np.min(distance[hit], initial=np.inf))


def test_the_nominal_is_the_distance_between_two_faces_of_the_mesh() -> None:
    for case in ALL:
        faces = []
        for point, outward in case.ends:
            inward = point + outward * 1.0
            faces.append(inward - outward * first_hit(case.piece.mesh, inward, -outward))
        measured = abs((faces[1] - faces[0]) @ case.axis)
        # Rounding of float64 only.
        assert case.dim.line.nominal == pytest.approx(measured, abs=1e-9), case.dim.line.id


@pytest.mark.parametrize("shrinkage", [0.0, LARGEST_SHRINKAGE])
def test_the_tool_reaches_its_faces_green_and_fired(shrinkage: float) -> None:
    scale = 1.0 - shrinkage
    for case in ALL:
        mesh = case.piece.mesh
        body = Manifold(Mesh64(mesh.vertices * scale, mesh.faces.astype(np.uint64)))
        ends = case.ends if case.dim.tool is not Tool.DEPTH_ROD else case.ends[1:]
        for point, outward in ends:
            tool = tool_solid(case.dim, point * scale, outward)
            assert (body ^ tool).volume() < 1e-9, case.dim.line.id


def test_the_tool_bears_on_flat_faces() -> None:
    """Points of the face around each touching point lie in its plane."""
    for case in ALL:
        if "round" in case.dim.line.feature:
            continue
        for point, outward in case.ends:
            across = [axis for axis in np.eye(3) if abs(axis @ outward) < 0.5]
            for side in (*across, *(-a for a in across)):
                probe = point + side * (0.49 * JAW_GRIP_MM) + outward
                depth = first_hit(case.piece.mesh, probe, -outward)
                assert depth == pytest.approx(1.0, abs=1e-9), case.dim.line.id


def tool_solid(dim: Dimension, point: Vector, outward: Vector) -> Manifold:
    """Jaw or rod lying 0.01 mm off the face it touches, from its tip back out of the work."""
    approach = np.array(dim.approach)
    if dim.tool is Tool.PIN:
        return pin_solid(dim, point)
    if dim.tool is Tool.DEPTH_ROD:
        across = [axis for axis in np.eye(3) if abs(axis @ outward) < 0.5]
        half = [ROD_MM / 2.0, ROD_MM / 2.0]
        spans = [(outward, 0.01, REACH), (across[0], -half[0], half[0])]
        spans.append((across[1], -half[1], half[1]))
    else:
        inside = dim.tool is Tool.INSIDE_JAWS
        # Inside blades are ground to an edge; half a millimetre of flat is common.
        width, depth = (0.5, INSIDE_JAW_MM / 2.0) if inside else (JAW_WIDTH_MM, JAW_DEPTH_MM)
        off = 0.02 if inside else 0.01
        spans = [
            (outward, off, depth),
            (approach, -REACH, JAW_GRIP_MM / 2.0),
            (np.cross(outward, approach), -width / 2.0, width / 2.0),
        ]
    low = sum((axis * a for axis, a, _ in spans), start=point)
    high = sum((axis * b for axis, _, b in spans), start=point)
    lower, upper = np.minimum(low, high), np.maximum(low, high)
    return Manifold.cube(tuple(upper - lower)).translate(tuple(lower))


def pin_solid(dim: Dimension, point: Vector) -> Manifold:
    """Round pin that is 0.05 mm thinner than its hole and enters by a jaw's grip from above."""
    start, end = np.array(dim.start), np.array(dim.end)
    scale = float(point[2] / start[2])
    x, y, z = scale * (start + end) / 2.0
    radius = scale * float(np.linalg.norm(end - start)) / 2.0 - 0.025
    pin = Manifold.cylinder(REACH, radius, -1.0, 64)
    return pin.translate((x, y, z - scale * JAW_GRIP_MM / 2.0))


def test_walls_stand_around_one_and_two_beads_and_floors_from_two_to_five_layers() -> None:
    for furnace, printer in CASES:
        lines = design_coupon(CouponPlan(printer, furnace)).lines
        walls = np.array([x.nominal for x in lines if x.kind is Kind.WALL], dtype=float)
        floors = np.array([x.nominal for x in lines if x.kind is Kind.FLOOR], dtype=float)
        for beads in (1.0, 2.0):
            bead = beads * printer.bead_width_mm
            near = walls[np.abs(walls - bead) < 0.3 * printer.bead_width_mm]
            assert near.min() < bead - 0.005 < bead + 0.005 < near.max()
            assert np.abs(near - bead).min() <= 0.005  # thicknesses are rounded to 0.01 mm
        assert floors / printer.layer_height_mm == pytest.approx([2.0, 3.0, 4.0, 5.0])
