"""Sag solve beside scikit-fem and pyamg on the same grid, as ratios in one run.

Run ``python benchmarks/sag_solver.py`` (400 000 unknowns, both) or with ``--large`` (2 000 000
unknowns, ours alone: the others would need far more memory). Each side runs in a process
of its own so that its peak memory is its own.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import time
from typing import Any

import numpy as np
from numpy.typing import NDArray

POISSON = 0.4
SOLID = (60, 50, 42)  # bricks: 402 000 unknowns
LARGE = (116, 85, 66)  # bricks: 2 011 000 unknowns
TOLERANCE = 1e-8


def ours(counts: tuple[int, int, int]) -> dict[str, float]:
    """Fill, build and solve a block held at one end, from its twelve facets."""
    import trimesh

    from shrinkrule.sag.fem.elements import join_bricks
    from shrinkrule.sag.fem.hex8i import make_brick
    from shrinkrule.sag.fem.pcg import Equilibrium
    from shrinkrule.sag.fem.rigid_modes import find_bodies
    from shrinkrule.sag.voxels.fractions import fill_grid
    from shrinkrule.sag.voxels.grid import Grid

    block = trimesh.creation.box(bounds=((0, 0, 0), counts))
    start = time.perf_counter()
    grid = Grid(np.eye(3), np.zeros(3), np.ones(3), np.array(counts))
    filling = fill_grid(block, grid)
    bricks = join_bricks(make_brick(grid.size, POISSON), filling.components)
    load = np.zeros((len(bricks.nodes), 4))
    load[:, 2] = -bricks.volumes
    problem = Equilibrium(bricks, find_bodies(bricks), load)
    free = np.ones_like(load)
    free[:, 3] = 0.0
    free[bricks.nodes[:, 0] == 0] = 0.0
    built = time.perf_counter()
    rest = problem.solve(free, np.zeros_like(load), TOLERANCE)
    done = time.perf_counter()
    return {
        "unknowns": 3.0 * len(bricks.nodes),
        "build_s": built - start,
        "solve_s": done - built,
        "iterations": float(rest.iterations),
        "sag": float(-rest.displacement[:, 2].min()),
    }


def general(counts: tuple[int, int, int]) -> dict[str, float]:
    """Assemble trilinear bricks with scikit-fem, solve with pyamg's smoothed aggregation.

    Trilinear bricks without incompatible modes: less work than ours per brick, and
    less exact in bending. The near null space is given, as pyamg's manual advises.
    """
    import pyamg
    import skfem
    from skfem.helpers import ddot, sym_grad, trace

    def energy(u: Any, v: Any, _: Any) -> Any:
        shear = 0.5 / (1.0 + POISSON)
        first = POISSON / ((1.0 + POISSON) * (1.0 - 2.0 * POISSON))
        e, d = sym_grad(u), sym_grad(v)
        return 2.0 * shear * ddot(e, d) + first * trace(e) * trace(d)

    start = time.perf_counter()
    mesh = skfem.MeshHex.init_tensor(*[np.linspace(0.0, n, n + 1) for n in counts])
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementHex1()), intorder=3)
    matrix = skfem.BilinearForm(energy).assemble(basis)
    load = skfem.LinearForm(lambda v, _: -v[2]).assemble(basis)
    assembled = time.perf_counter()
    held = basis.get_dofs(lambda x: x[0] < 1e-9)
    reduced, right, x, inside = skfem.condense(matrix, load, D=held)
    modes = _rigid(mesh.p.T, basis.nodal_dofs.T, matrix.shape[0])[inside]
    solver = pyamg.smoothed_aggregation_solver(
        reduced.tobsr(blocksize=(3, 3)), B=modes, symmetry="symmetric"
    )
    built = time.perf_counter()
    residuals: list[float] = []
    x[inside] = solver.solve(right, tol=TOLERANCE, accel="cg", residuals=residuals)
    done = time.perf_counter()
    return {
        "unknowns": float(len(load)),
        "assembly_s": assembled - start,
        "build_s": built - start,
        "solve_s": done - built,
        "iterations": float(len(residuals)),
        "sag": float(-x[basis.nodal_dofs[2]].min()),
    }


def _rigid(points: NDArray[np.float64], dofs: NDArray[np.int64], count: int) -> NDArray[np.float64]:
    modes = np.zeros((count, 6))
    for axis in range(3):
        modes[dofs[:, axis], axis] = 1.0
        turn = np.cross(np.eye(3)[axis], points - points.mean(axis=0))
        for direction in range(3):
            modes[dofs[:, direction], 3 + axis] = turn[:, direction]
    return modes


def measured(side: str, counts: tuple[int, int, int]) -> dict[str, float]:
    """Run one side in a process of its own."""
    command = [sys.executable, __file__, "--side", side, *map(str, counts)]
    output = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    result: dict[str, float] = json.loads(output)
    return result


def show(name: str, result: dict[str, float]) -> None:
    print(
        f"{name:<24} {result['unknowns']:>10,.0f} unknowns  build {result['build_s']:6.2f} s  "
        f"solve {result['solve_s']:6.2f} s  {result['iterations']:3.0f} iterations  "
        f"peak {result['peak_gb']:.2f} GB  sag {result['sag']:.6g}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--large", action="store_true")
    parser.add_argument("--side", choices=["ours", "general"])
    parser.add_argument("counts", nargs="*", type=int)
    asked = parser.parse_args()
    if asked.side:
        a, b, c = asked.counts
        result = (ours if asked.side == "ours" else general)((a, b, c))
        result["peak_gb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(json.dumps(result))
        return
    if asked.large:
        show("shrinkrule", measured("ours", LARGE))
        return
    mine, other = measured("ours", SOLID), measured("general", SOLID)
    show("shrinkrule", mine)
    show("scikit-fem and pyamg", other)
    here, there = (side["build_s"] + side["solve_s"] for side in (mine, other))
    print(
        f"time ratio {here / there:.3f} ({here / (there - other['assembly_s']):.3f} if their "
        f"assembly were free), memory ratio {mine['peak_gb'] / other['peak_gb']:.3f}"
    )


if __name__ == "__main__":
    main()
