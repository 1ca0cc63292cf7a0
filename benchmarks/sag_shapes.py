"""Sag of plain shapes against triquadratic elements with one-sided contact: error and time.

Run ``python benchmarks/sag_shapes.py [--only TEXT] [--page]``; ``--page`` writes the table between
the marks of docs/theory-sag.md. The reference is scikit-fem's bricks of 27 nodes, curved with the
shape and refined towards inner edges and lines of contact, on a plate that only pushes (a stiff
one-sided spring under each point of the underside, integrated over the facets). It is solved on
two meshes, the finer with half as many cells again along each axis, and the table tells what
that changes. Faces of symmetry carry their half. Where a part rests on a line, points within a
wall of that line are left out of the field's norm: there the strain is without bound.
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import scipy.sparse
import scipy.sparse.linalg
import scipy.spatial
import skfem
import trimesh
from skfem.helpers import ddot, sym_grad, trace

from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.sag import SagMaterial, SagSettings, solve_sag
from shrinkrule.sag.preparation import prepare
from shrinkrule.sag.solve import solve_on_two_grids

POISSON: Final = 0.46
FINER: Final = 1.5  # cells along each axis of the finer mesh, over those of the coarser
PLATE: Final = 300.0  # stiffness of the plate over the modulus, 1/mm: sinks by under 0.1 %
ROUNDS: Final = 40  # of contact
PAGE: Final = Path(__file__).parent.parent / "docs" / "theory-sag.md"
MARKS: Final = ("<!-- shapes -->\n", "<!-- end of shapes -->")
NEAR: Final = 0.02  # of the wall: what is so near the plate is held by it to begin with
SPREAD: Final = 1.6  # cells grow away from an inner edge as this power of the way


@dataclass(frozen=True)
class Shape:
    """A shape in cells that follow it.

    Parameters
    ----------
    ticks : three arrays
        Places of the coarser mesh's cells along its three coordinates.
    place : callable
        From coordinates (3, n) to places (3, n), mm.
    inside : callable or None
        Which cells, by their middles (3, m), are of the part; None is all.
    modulus_kpa : float
        Sag modulus.
    wall_mm : float
        Its wall, mm.
    mirrored : (tuple of int)
        Axes whose face at zero is one of symmetry.
    line : callable or None
        Which places (n, 3) are beside a line on which it rests.
    """

    ticks: Callable[[float], tuple[Floats, Floats, Floats]]
    place: Callable[[Floats], Floats]
    modulus_kpa: float
    wall_mm: float
    inside: Callable[[Floats], Mask] | None = None
    mirrored: tuple[int, ...] = ()
    line: Callable[[Floats], Mask] | None = None

    def material(self) -> SagMaterial:
        return SagMaterial(self.modulus_kpa, 0.0, poisson=POISSON, density_g_cm3=7.5)

    def cells(self, finer: float) -> Any:
        """Bricks of scikit-fem with curved sides, and the straight ones of their vertices."""
        mesh = skfem.MeshHex.init_tensor(*self.ticks(finer))
        if self.inside is not None:
            mesh = mesh.restrict(np.flatnonzero(self.inside(mesh.p[:, mesh.t].mean(axis=1))))
        curved = skfem.MeshHex2.from_mesh(mesh)
        return replace(curved, doflocs=self.place(curved.doflocs)), skfem.MeshHex(
            self.place(mesh.p), mesh.t
        )

    def surface(self) -> trimesh.Trimesh:
        """The whole part as a closed mesh, from the boundary of fine cells."""
        mesh = self.cells(2.0)[1]
        quads = mesh.facets[:, mesh.boundary_facets()].T
        facets = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
        solid = trimesh.Trimesh(mesh.p.T, facets, process=False)
        for axis in self.mirrored:
            kept = ~np.all(np.abs(solid.triangles[:, :, axis]) < 1e-9, axis=1)
            half = trimesh.Trimesh(solid.vertices, solid.faces[kept], process=False)
            other = half.copy()
            other.vertices[:, axis] *= -1.0
            solid = trimesh.util.concatenate([half, other])
            solid.merge_vertices(digits_vertex=7)
        solid.remove_unreferenced_vertices()
        trimesh.repair.fix_normals(solid)
        assert solid.is_watertight
        assert solid.volume > 0.0
        return solid


def graded(*stops: float, cells: tuple[int, ...], inner: tuple[int, ...] = ()) -> Any:
    """Ticks through ``stops`` with ``cells`` between them, finer at the stops ``inner``."""

    def ticks(finer: float) -> Floats:
        parts = [np.array([stops[0]])]
        for k, (low, high) in enumerate(itertools.pairwise(stops)):
            way = np.linspace(0.0, 1.0, max(1, round(cells[k] * finer)) + 1)
            if k in inner and k + 1 in inner:
                bent = np.where(
                    way < 0.5, 0.5 * (2 * way) ** SPREAD, 1 - 0.5 * (2 - 2 * way) ** SPREAD
                )
            elif k in inner:
                bent = way**SPREAD
            elif k + 1 in inner:
                bent = 1.0 - (1.0 - way) ** SPREAD
            else:
                bent = way
            parts.append((low + (high - low) * bent)[1:])
        return np.concatenate(parts)

    return ticks


def tensor(x: Any, y: Any, z: Any) -> Callable[[float], tuple[Floats, Floats, Floats]]:
    return lambda finer: (x(finer), y(finer), z(finer))


def _same(p: Floats) -> Floats:
    return p


def arch() -> Shape:
    """Circular opening of radius 20, elliptic back of 27 by 23, 10 deep: wall from 3 to 7."""

    def place(p: Floats) -> Floats:
        across, turn, deep = p
        inner = 20.0 * np.array([np.cos(turn), np.sin(turn)])
        outer = np.array([27.0 * np.cos(turn), 23.0 * np.sin(turn)])
        x, z = inner + across * (outer - inner)
        return np.array([x, deep, z])

    ticks = tensor(
        graded(0, 1, cells=(5,), inner=(0,)),
        graded(0, 0.3, np.pi / 2, cells=(5, 9), inner=(0,)),
        graded(0, 5, cells=(3,)),
    )
    return Shape(ticks, place, 400.0, 3.0, mirrored=(0, 1))


def tube() -> Shape:
    """A tube on its side: radius 12, wall 1, length 40."""

    def place(p: Floats) -> Floats:
        radius, turn, deep = p
        return np.array([radius * np.sin(turn), deep, 12.0 - radius * np.cos(turn)])

    ticks = tensor(
        graded(11, 12, cells=(2,)),
        graded(0, 0.3, np.pi, cells=(5, 16), inner=(0,)),
        graded(0, 20, cells=(8,)),
    )
    return Shape(
        ticks, place, 15000.0, 1.0, mirrored=(0, 1), line=lambda p: np.hypot(p[:, 0], p[:, 2]) < 1.0
    )


def tilted_plate() -> Shape:
    """A plate 2 thick, 40 by 30, tilted by 25 and 20 degrees, on three upright feet."""
    a, b = np.tan(np.radians(25.0)), np.tan(np.radians(20.0))
    thick = 2.0 * np.sqrt(1.0 + a * a + b * b)

    def place(p: Floats) -> Floats:
        x, y, level = p
        under = 12.0 + a * (x - 20.0) + b * (y - 15.0) + 10.0
        return np.array(
            [x, y, np.where(level <= 1.0, level * under, under + (level - 1.0) * thick)]
        )

    def inside(c: Floats) -> Mask:
        x, y, level = c
        low = (y > 2) & (y < 6) & (((x > 2) & (x < 6)) | ((x > 34) & (x < 38)))
        high = (y > 24) & (y < 28) & (x > 18) & (x < 22)
        solid: Mask = (level > 1.0) | low | high
        return solid

    stops_x = graded(0, 2, 6, 18, 22, 34, 38, 40, cells=(1, 2, 4, 2, 4, 2, 1), inner=(2, 3, 4, 5))
    stops_y = graded(0, 2, 6, 24, 28, 30, cells=(1, 2, 6, 2, 1), inner=(2, 3))
    stops_z = graded(0, 1, 2, cells=(4, 2), inner=(1,))
    return Shape(tensor(stops_x, stops_y, stops_z), place, 3000.0, 2.0, inside)


def frame() -> Shape:
    """A portal: posts 4 wide, a span of 40 and 3 deep, 8 across."""

    def inside(c: Floats) -> Mask:
        solid: Mask = (c[0] > 20.0) | (c[2] > 17.0)
        return solid

    stops = (
        graded(0, 20, 24, cells=(12, 4), inner=(1,)),
        graded(0, 4, cells=(2,)),
        graded(0, 17, 20, cells=(8, 3), inner=(1,)),
    )
    return Shape(tensor(*stops), _same, 3000.0, 3.0, inside, mirrored=(0, 1))


def bracket() -> Shape:
    """An angle on a long foot: post 4 thick and 20 high, arm 3 thick that reaches out 20."""

    def inside(c: Floats) -> Mask:
        solid: Mask = (c[2] < 4.0) | ((c[0] < 4.0) & (c[2] < 24.0)) | (c[2] > 21.0)
        return solid

    stops = (
        graded(0, 4, 24, cells=(3, 10), inner=(1,)),
        graded(0, 5, cells=(2,)),
        graded(0, 4, 21, 24, cells=(3, 8, 3), inner=(1, 2)),
    )
    return Shape(tensor(*stops), _same, 2000.0, 3.0, inside, mirrored=(1,))


def posts() -> Shape:
    """A plate 2 thick, 44 by 32, on four posts 6 by 5."""

    def inside(c: Floats) -> Mask:
        solid: Mask = (c[2] > 10.0) | ((c[0] > 14.0) & (c[0] < 20.0) & (c[1] > 9.0) & (c[1] < 14.0))
        return solid

    stops = (
        graded(0, 14, 20, 22, cells=(6, 4, 1), inner=(1, 2)),
        graded(0, 9, 14, 16, cells=(5, 4, 1), inner=(1, 2)),
        graded(0, 10, 12, cells=(5, 2), inner=(1,)),
    )
    return Shape(tensor(*stops), _same, 2000.0, 2.0, inside, mirrored=(0, 1))


def ring() -> Shape:
    """A ring standing on its rim: radius 15, 2 thick, 8 wide."""

    def place(p: Floats) -> Floats:
        radius, turn, deep = p
        return np.array([radius * np.sin(turn), deep, 15.0 - radius * np.cos(turn)])

    ticks = tensor(
        graded(13, 15, cells=(3,)),
        graded(0, 0.3, np.pi, cells=(5, 14), inner=(0,)),
        graded(0, 4, cells=(3,)),
    )
    return Shape(
        ticks, place, 8000.0, 2.0, mirrored=(0, 1), line=lambda p: np.hypot(p[:, 0], p[:, 2]) < 2.0
    )


SHAPES: Final[dict[str, Callable[[], Shape]]] = {
    "portal frame": frame,
    "bracket": bracket,
    "plate on four posts": posts,
    "plate tilted on three feet": tilted_plate,
    "arch": arch,
    "ring on its rim": ring,
    "tube on its side": tube,
}


@dataclass(frozen=True)
class Reference:
    """Places and displacements (n, 3) of the vertices, mm; what touches, and where."""

    places: Floats
    displacement: Floats
    unknowns: int
    under: Floats
    touching: Mask

    @property
    def largest_sag(self) -> float:
        return float(-self.displacement[:, 2].min())


def _energy(u: Any, v: Any, _: Any) -> Any:
    shear = 0.5 / (1.0 + POISSON)
    first = POISSON / ((1.0 + POISSON) * (1.0 - 2.0 * POISSON))
    strain, virtual = sym_grad(u), sym_grad(v)
    return 2.0 * shear * ddot(strain, virtual) + first * trace(strain) * trace(virtual)


def _parts(basis: Any) -> tuple[Any, ...]:
    """Unknowns at vertices, edges, facets and in cells: one row for each direction."""
    return basis.nodal_dofs, basis.edge_dofs, basis.facet_dofs, basis.interior_dofs


def _on_face(straight: Any, axis: int) -> tuple[Mask, ...]:
    """Vertices, edges, facets and cells that lie in the plane where an axis is zero."""
    at_zero = np.abs(straight.p[axis]) < 1e-9
    inside = np.zeros(straight.t.shape[1], dtype=bool)
    return (
        at_zero,
        at_zero[straight.edges].all(axis=0),
        at_zero[straight.facets].all(axis=0),
        inside,
    )


def reference(shape: Shape, finer: float, like: Reference | None = None) -> Reference:
    """Solve a shape with triquadratic bricks on a plate that only pushes, begun as ``like``."""
    mesh, straight = shape.cells(finer)
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementHex2()), intorder=4)
    stiffness = skfem.BilinearForm(_energy).assemble(basis)
    weight = shape.material().weight_over_modulus
    load = skfem.LinearForm(lambda v, _: -weight * v[2]).assemble(basis)
    fixed = [
        part[axis][held]
        for axis in shape.mirrored
        for part, held in zip(_parts(basis), _on_face(straight, axis), strict=True)
    ]
    # What slides freely is pinned where nothing pulls: two directions, and the turn.
    vertices = straight.p
    if 0 not in shape.mirrored:
        fixed.append(basis.nodal_dofs[0][[0]])
    if 1 not in shape.mirrored:
        far = int(np.argmax(np.abs(vertices[0] - vertices[0][0])))
        fixed.append(basis.nodal_dofs[1][[0, far]])
    inside = np.setdiff1d(np.arange(basis.N), np.concatenate(fixed))

    # The plate acts upward alone: it is assembled for one direction.
    low = straight.facets_satisfying(
        lambda x: x[2] < 0.1 * np.ptp(vertices[2]), boundaries_only=True
    )
    under = skfem.FacetBasis(mesh, skfem.ElementHex2(), facets=low, intorder=4)
    upward = np.empty(under.N, dtype=np.int64)
    for one, three in zip(_parts(under), _parts(basis), strict=True):
        upward[one[0]] = three[2]
    lift = scipy.sparse.csr_array(
        (np.ones(under.N), (upward, np.arange(under.N))), shape=(basis.N, under.N)
    )
    points = np.asarray(under.global_coordinates())
    gap = points[2]
    x, seen = np.zeros(basis.N), None
    flat_points = points.reshape(3, -1).T
    pushing = gap < NEAR * shape.wall_mm
    if like is not None:
        nearest = scipy.spatial.KDTree(like.under).query(flat_points)[1]
        pushing = like.touching[nearest].reshape(gap.shape)
    for _ in range(ROUNDS):
        on = PLATE * pushing
        held = lift @ skfem.BilinearForm(_plate).assemble(under, on=on) @ lift.T
        matrix = (stiffness + held).tocsr()[inside][:, inside].tocsc()
        right = (load + lift @ skfem.LinearForm(_push).assemble(under, on=on, gap=gap))[inside]
        factors = scipy.sparse.linalg.splu(
            matrix,
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        x[inside] = factors.solve(right)
        pushing = np.asarray(under.interpolate(x[upward])) + gap < 0.0
        if seen is not None and np.array_equal(pushing, seen):
            break
        seen = pushing
    else:
        raise RuntimeError("the contact of the reference did not settle")
    return Reference(vertices.T, x[basis.nodal_dofs].T, len(inside), flat_points, pushing.ravel())


def _plate(u: Any, v: Any, w: Any) -> Any:
    return w["on"] * u * v


def _push(v: Any, w: Any) -> Any:
    return -w["on"] * w["gap"] * v


def compared(shape: Shape, there: Reference, at: Callable[[Floats], Floats]) -> float:
    """Norm of a field's error over the norm of the field, sliding and turning taken out."""
    points = there.places
    kept = np.ones(len(points), dtype=bool) if shape.line is None else ~shape.line(points)
    points, wanted = points[kept], there.displacement[kept]
    missed = at(points) - wanted
    x, y = points[:, 0], points[:, 1]
    none, one = np.zeros_like(x), np.ones_like(x)
    slides = np.stack(
        [np.stack(v, axis=1).ravel() for v in ((one, none, none), (none, one, none), (-y, x, none))]
    ).T
    flat = missed.ravel()
    flat = flat - slides @ np.linalg.lstsq(slides, flat, rcond=None)[0]
    return float(np.linalg.norm(flat) / np.linalg.norm(wanted))


def row(name: str, shape: Shape) -> str:
    """One line of the table."""
    rough = reference(shape, 1.0)
    there = reference(shape, FINER, rough)
    changes = there.largest_sag / rough.largest_sag - 1.0
    solid, material = shape.surface(), shape.material()
    problem = prepare(solid, material, SagSettings())
    plain, _ = solve_on_two_grids(problem, lambda _: None)
    began = time.process_time()
    here = solve_sag(solid, material, SagSettings())
    ours = time.process_time() - began
    before = plain.field.lowest()[0] / there.largest_sag - 1.0
    off = here.largest_sag_mm / there.largest_sag - 1.0
    field = compared(shape, there, here.field.at)
    return (
        f"| {name} | {there.largest_sag:.3f} | {100 * changes:+.1f} % | {100 * before:+.1f} % "
        f"| {100 * off:+.1f} % | {100 * field:.1f} % "
        f"| {100 * here.numerical_mm / here.largest_sag_mm:.1f} % "
        f"| {here.unknowns:,} | {ours:.0f} |"
    )


HEAD: Final = (
    "| shape | sag, mm | reference changes by | two grids alone | steered | whole field "
    "| states, 95 % | unknowns | s |\n|---|---|---|---|---|---|---|---|---|"
)


def main() -> None:
    """Print the table, or write it into the page."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--only", default="", help="only shapes whose name holds this text")
    options.add_argument("--page", action="store_true", help="write the table into the page")
    asked = options.parse_args()
    rows = [HEAD]
    print(HEAD)
    for name, make in SHAPES.items():
        if asked.only in name:
            rows.append(row(name, make()))
            print(rows[-1], flush=True)
    if asked.page:
        before, rest = PAGE.read_text(encoding="utf-8").split(MARKS[0])
        table = "\n".join(rows) + "\n"
        _, after = rest.split(MARKS[1])
        PAGE.write_text(f"{before}{MARKS[0]}{table}{MARKS[1]}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
