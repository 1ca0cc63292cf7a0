"""The sag of a shape by triquadratic elements on a plate that only pushes: a reference.

Bricks of 27 nodes from scikit-fem, curved with the shape, and no code of the solver that they
check. The plate is a stiff one-sided spring under each point of the underside, integrated over
its facets; the contact is repeated until no point changes. Equations are factored once in the
order of nested dissection (A. George, SIAM J. Numer. Anal. 10 (1973) 345-363), and these factors
precondition conjugate gradients while the contact changes. Three meshes, each with half as many
cells again along each axis, give the order at which the sag converges, and its limit.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import scipy.optimize
import scipy.sparse
import scipy.sparse.linalg
import scipy.spatial
import skfem
import trimesh

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.sag import SagMaterial

POISSON: Final = 0.46
NEWTON_MM: Final = 1e-9
FINER: Final = (1.0, 1.5, 2.0)  # cells along each axis of the meshes, over those of the coarsest
ORDERS: Final = (1.0, 2.0)  # least and largest order that an extrapolation takes for true
PLATE: Final = 300.0  # stiffness of the plate over the modulus, 1/mm: sinks by under 0.1 %
ROUNDS: Final = 60  # of contact
EXACT: Final = 1e-9  # of the load: what is left of it when the equations count as solved
STEPS: Final = 60  # of conjugate gradients: with more the factors are made anew
NEAR: Final = 0.02  # of the wall: what is so near the plate is held by it to begin with


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

    def cells(self, finer: float) -> tuple[Any, Any, Floats]:
        """Bricks of scikit-fem with curved sides, straight ones, and their middles in the grid."""
        mesh = skfem.MeshHex.init_tensor(*self.ticks(finer))
        if self.inside is not None:
            mesh = mesh.restrict(np.flatnonzero(self.inside(mesh.p[:, mesh.t].mean(axis=1))))
        curved = skfem.MeshHex2.from_mesh(mesh)
        straight = skfem.MeshHex(self.place(mesh.p), mesh.t)
        middles = mesh.p[:, mesh.t].mean(axis=1).T
        return replace(curved, doflocs=self.place(curved.doflocs)), straight, middles

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


def stiffness(mesh: Any, basis: Any) -> Any:
    """Elastic stiffness over the modulus of bricks whose vector basis is ``basis``.

    ``K[ai, bj] = first Na,i Nb,j + shear (Na,j Nb,i + delta_ij Na,k Nb,k)``, all cells at once: the
    bilinear form of scikit-fem gives the same (a test compares them), but slower by far.
    """
    shear = 0.5 / (1.0 + POISSON)
    first = POISSON / ((1.0 + POISSON) * (1.0 - 2.0 * POISSON))
    scalar = skfem.Basis(mesh, skfem.ElementHex2(), intorder=4)
    slope = np.array([one[0].grad for one in scalar.basis])
    count, _, cells, points = slope.shape
    slope = slope.transpose(2, 0, 1, 3).reshape(cells, 3 * count, points)
    pairs = (slope * scalar.dx[:, None]) @ slope.transpose(0, 2, 1)
    pairs = pairs.reshape(cells, count, 3, count, 3)
    turned = pairs.transpose(0, 1, 4, 3, 2)
    along = np.einsum("eakbk->eab", pairs)
    local = first * pairs + shear * turned
    local += shear * np.einsum("eab,ij->eaibj", along, np.eye(3))
    dofs = basis.element_dofs.T
    rows = np.repeat(dofs[:, :, None], dofs.shape[1], axis=2)
    flat = (local.ravel(), (rows.ravel(), rows.transpose(0, 2, 1).ravel()))
    return scipy.sparse.coo_array(flat, shape=(basis.N, basis.N)).tocsr()


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


def nested_dissection(dofs: Ints, places: Floats) -> Ints:
    """An order of unknowns that keeps the factors small: halves first, what they share last.

    Parameters
    ----------
    dofs : (cells, k) int
        Unknowns of each cell.
    places : (cells, 3) float
        Middles of the cells in the tensor grid that they were made in.
    """
    lattice = np.stack([np.unique(c.round(9), return_inverse=True)[1] for c in places.T], axis=1)
    placed = np.zeros(int(dofs.max()) + 1, dtype=bool)
    order: list[Ints] = []

    def take(unknowns: Ints) -> Ints:
        fresh: Ints = unknowns[~placed[unknowns]]
        placed[fresh] = True
        return fresh

    def halve(cells: Ints) -> None:
        wide = np.ptp(lattice[cells], axis=0)
        if wide.max() < 1:
            order.append(take(np.unique(dofs[cells])))
            return
        along = lattice[cells, wide.argmax()]
        low = along <= np.floor(0.5 * (along.min() + along.max()))
        shared = take(np.intersect1d(dofs[cells[low]], dofs[cells[~low]]))
        halve(cells[low])
        halve(cells[~low])
        order.append(shared)

    halve(np.arange(len(dofs)))
    return np.concatenate(order)


class Factored:
    """Factors of one matrix that also solve with others near to it.

    Parameters
    ----------
    order : (n,) int
        Order in which the unknowns are eliminated.
    """

    def __init__(self, order: Ints) -> None:
        self._order = order
        self._factors: Any = None

    def solve(self, matrix: Any, right: Floats, start: Floats) -> Floats:
        """Solve by conjugate gradients behind the factors, made anew where these are far off."""
        for _ in range(2):
            if self._factors is None:
                turned = matrix[self._order][:, self._order].tocsc()
                self._factors = scipy.sparse.linalg.splu(
                    turned,
                    permc_spec="NATURAL",
                    diag_pivot_thresh=0.0,
                    options={"SymmetricMode": True},
                )
            behind = scipy.sparse.linalg.LinearOperator(matrix.shape, matvec=self._behind)
            x, failed = scipy.sparse.linalg.cg(
                matrix, right, start, rtol=EXACT, maxiter=STEPS, M=behind
            )
            if not failed:
                return np.asarray(x)
            self._factors = None
        raise RuntimeError("the equations of the reference are not solved")

    def _behind(self, right: Floats) -> Floats:
        x = np.empty_like(right)
        x[self._order] = self._factors.solve(right[self._order])
        return x


def reference(shape: Shape, finer: float, like: Reference | None = None) -> Reference:
    """Solve a shape with triquadratic bricks on a plate that only pushes, begun as ``like``."""
    mesh, straight, middles = shape.cells(finer)
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementHex2()), intorder=4)
    elastic = stiffness(mesh, basis)
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

    rank = np.full(basis.N, -1)
    rank[inside] = np.arange(len(inside))
    order = rank[nested_dissection(basis.element_dofs.T, middles)]
    factors = Factored(order[order >= 0])

    # The plate acts upward alone: it is assembled for one direction.
    low = straight.facets_satisfying(
        lambda x: x[2] < 0.1 * np.ptp(vertices[2]), boundaries_only=True
    )
    # Rounding alone is more than the 1e-12 at which it gives up, on elements of many mm.
    mapping = mesh.mapping()
    mapping.invF = functools.partial(mapping.invF, newton_tol=NEWTON_MM)
    under = skfem.FacetBasis(mesh, skfem.ElementHex2(), mapping, facets=low, intorder=4)
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
        matrix = (elastic + held).tocsr()[inside][:, inside]
        right = (load + lift @ skfem.LinearForm(_push).assemble(under, on=on, gap=gap))[inside]
        x[inside] = factors.solve(matrix, right, x[inside])
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


@dataclass(frozen=True)
class Limit:
    """The sag at cells of no size.

    Parameters
    ----------
    sag_mm : float
        The sag, mm.
    order : float
        Order at which the sag comes to it.
    own_error : float
        All that the finest mesh lacks of it, as a share: what the extrapolation itself may miss.
    finest : Reference
        The finest mesh.
    """

    sag_mm: float
    order: float
    own_error: float
    finest: Reference


def extrapolated(sags: tuple[float, float, float]) -> tuple[float, float]:
    """Limit of the sags on meshes of the cells ``FINER``, and the order between 1 and 2 of that.

    With ``h`` the side of the cells, ``u = limit + c h^p`` on three meshes (L. F. Richardson,
    Phil. Trans. R. Soc. A 210 (1911) 307-357). A higher order than 2 is not believed, and a lower
    one than 1, or none where the sag goes to and fro, counts as 1.
    """
    h = 1.0 / np.array(FINER)
    first, second = sags[1] - sags[0], sags[2] - sags[1]

    def lack(p: float) -> float:
        return float(first * (h[1] ** p - h[2] ** p) - second * (h[0] ** p - h[1] ** p))

    low, high = ORDERS
    order = low
    if first * second > 0.0:
        if lack(low) * lack(high) < 0.0:
            order = float(scipy.optimize.brentq(lack, low, high))
        elif abs(second) * (h[0] ** high - h[1] ** high) < abs(first) * (
            h[1] ** high - h[2] ** high
        ):
            order = high
    step = second * h[2] ** order / (h[1] ** order - h[2] ** order)
    return sags[2] + step, order


def limit(shape: Shape) -> Limit:
    """Solve a shape on three meshes, each begun from the contact of the one before."""
    meshes: list[Reference] = []
    for finer in FINER:
        meshes.append(reference(shape, finer, meshes[-1] if meshes else None))
    rough, middle, fine = (mesh.largest_sag for mesh in meshes)
    sag, order = extrapolated((rough, middle, fine))
    return Limit(sag, order, abs(sag / fine - 1.0), meshes[-1])
