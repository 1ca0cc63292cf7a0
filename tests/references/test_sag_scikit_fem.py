"""The bricks and their solve against scikit-fem, an independent finite-element library."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
import skfem
import trimesh
from scipy.sparse.linalg import spsolve
from skfem.helpers import ddot, sym_grad, trace

from sag.solids import bar, grid_of, places, sag_held, united
from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.sag import Friction, SagMaterial, SagSettings, solve_sag

POISSON = 0.3
GAUSS_TWO = 3  # scikit-fem's name for two Gauss points in each direction


def _energy(u: Any, v: Any, _: Any) -> Any:
    shear = 0.5 / (1.0 + POISSON)
    first = POISSON / ((1.0 + POISSON) * (1.0 - 2.0 * POISSON))
    strain, virtual = sym_grad(u), sym_grad(v)
    return 2.0 * shear * ddot(strain, virtual) + first * trace(strain) * trace(virtual)


def _weight(v: Any, _: Any) -> Any:
    return -v[2]


def _bubble(_: Any, point: Floats, i: int) -> tuple[Floats, Floats]:
    """Shape 1 - xi^2 of the incompatible mode i, on a reference brick from 0 to 1."""
    xi = 2.0 * point[i] - 1.0
    slope = np.zeros_like(point)
    slope[i] = -4.0 * xi
    return 1.0 - xi**2, slope


def _incompatible() -> Any:
    """Element of the three incompatible modes, made of the library's trilinear one."""
    entries = {
        "nodal_dofs": 0,
        "interior_dofs": 3,
        "maxdeg": 2,
        "dofnames": ["a"] * 3,
        "doflocs": np.full((3, 3), 0.5),
        "lbasis": _bubble,
    }
    return type("Incompatible", (skfem.ElementHex1,), entries)()


def test_same_bricks_same_displacement() -> None:
    """Taylor-Beresford-Wilson bricks assembled there and here: the same to 1e-8.

    An angle of full bricks with unequal sides, one end held, solved directly there with
    the incompatible modes as unknowns of their own, and here without what bricks beside a
    re-entrant edge are corrected.
    """
    part = united(bar((0, 0, 0), (12, 3, 2)), bar((10, 0, 0), (12, 3, 8)))
    grid = grid_of(part, (1.0, 1.5, 0.5))

    def held(place: Floats) -> Mask:
        return np.repeat((place[:, 0] < 1e-9)[:, None], 3, axis=1)

    field = sag_held(part, grid, POISSON, (0.0, 0.0, -1.0), held, tolerance=1e-11, corrected=False)

    axes = [
        np.linspace(0.0, size * count, count + 1)
        for size, count in zip(grid.size, grid.counts, strict=True)
    ]
    mesh = skfem.MeshHex.init_tensor(*axes)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.flatnonzero((middle[0] > 10) | (middle[2] < 2)))
    outer = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementHex1()), intorder=GAUSS_TWO)
    inner = skfem.Basis(mesh, skfem.ElementVector(_incompatible()), intorder=GAUSS_TWO)
    form = skfem.BilinearForm(_energy)
    coupling = form.assemble(outer, inner)
    whole = skfem.utils.bmat(
        [[form.assemble(outer), coupling.T], [coupling, form.assemble(inner)]], format="csc"
    )
    load = np.concatenate([skfem.LinearForm(_weight).assemble(outer), np.zeros(inner.N)])
    held_there = outer.nodal_dofs[:, mesh.p[0] < 1e-9].ravel()
    free = np.setdiff1d(np.arange(outer.N + inner.N), held_there)
    solution = np.zeros(outer.N + inner.N)
    solution[free] = spsolve(whole[free][:, free], load[free])
    there = solution[outer.nodal_dofs].T

    order = np.lexsort(mesh.p.round(6)[::-1])
    mine = np.lexsort(places(grid, field.bricks).round(6).T[::-1])
    difference = np.abs(field.displacement[mine] - there[order]).max()
    assert difference < 1e-8 * np.abs(there).max()


def lever() -> trimesh.Trimesh:
    """A hub with two arms that grow thinner outward, from 3 to 1.5 mm."""
    outline = [(-24, 16.5), (-4, 15), (-4, 0), (4, 0), (4, 15), (24, 16.5), (24, 18), (-24, 18)]
    solid = trimesh.creation.extrude_polygon(_polygon(outline), 6.0)
    upright = np.array([[1, 0, 0, 0], [0, 0, 1, -3], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=float)
    solid.apply_transform(upright)
    solid.fix_normals()
    return solid


def _polygon(outline: Sequence[tuple[float, float]]) -> Any:
    from shapely.geometry import Polygon

    return Polygon(outline)


def test_lever_against_quadratic_tetrahedra() -> None:
    """Sag of a lever stuck to the plate, against scikit-fem's quadratic tetrahedra, to 2 %."""
    material = SagMaterial(modulus_kpa=1e6, modulus_u_kpa=0.0, poisson=POISSON, density_g_cm3=7.0)
    settings = SagSettings(friction=Friction.DRAG, max_unknowns=120_000, brick_mm=0.4)
    here = solve_sag(lever(), material, settings)
    assert here.lifted == 0

    # Finer towards the edges where hub and arms meet: quadratic tetrahedra err there too.
    toward = np.linspace(0.0, 1.0, 21) ** 1.8
    across = np.concatenate([4.0 + 20.0 * toward, 4.0 - 4.0 * toward[::4]])
    mesh = skfem.MeshTet.init_tensor(
        np.unique(np.concatenate([across, -across]).round(9)),
        # Hardly anything changes across: twice as many elements change the sag by 0.1 %.
        np.linspace(-3, 3, 3),
        np.unique(np.concatenate([15.0 - 15.0 * toward[::2], 15.0 + 3.0 * toward[::5]]).round(9)),
    )
    middle = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.flatnonzero((np.abs(middle[0]) < 4) | (middle[2] > 15)))
    x, y, z = mesh.p
    taper = 1.0 - 0.5 * np.clip(np.abs(x) - 4.0, 0.0, None) / 20.0
    mesh = skfem.MeshTet(np.array([x, y, np.where(z >= 15, 18 - (18 - z) * taper, z)]), mesh.t)
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementTetP2()))
    load = skfem.LinearForm(_weight).assemble(basis) * material.weight_over_modulus
    matrix = skfem.BilinearForm(_energy).assemble(basis)
    held = basis.get_dofs(lambda p: p[2] < 1e-9)
    there = skfem.solve(*skfem.condense(matrix, load, D=held))
    assert here.largest_sag_mm == pytest.approx(-there[basis.nodal_dofs[2]].min(), rel=0.02)
