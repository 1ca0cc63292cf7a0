"""Round trip: pre-curve parts, fire them in an independent finer solve, report what is left.

Run ``python benchmarks/sag_round_trip.py`` for the sample models, or name model files;
``FILE:UNIT:UP`` states a file's unit if it is not mm, and its way up if it is not z.
Each part is pre-curved as the main job does it, but to a twentieth of its sag, so that parts
which hardly sag are tried too. The second firing is on a grid of bricks smaller by 1.6, so that
its planes fall elsewhere; what is left is the largest distance of any vertex from where it is
wanted, against the largest displacement of the part without allowance in that same finer solve.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import trimesh

from shrinkrule.calibration import demo_table, find_row
from shrinkrule.compensation import way_up
from shrinkrule.errors import ShrinkruleError
from shrinkrule.mesh import read_part
from shrinkrule.sag import (
    PrecurveResult,
    SagMaterial,
    SagSettings,
    plan,
    precurve,
    sag_material,
)
from shrinkrule.sag.precurve import lay_on_plate
from shrinkrule.sag.preparation import prepare
from shrinkrule.sag.solve import sag_on_grid
from shrinkrule.sag.voxels.grid import lay_grid

ROW = "bronze demo batch 90"
FINER = 1.6
SAMPLES = Path(__file__).parents[1] / "sample_models"
UNITS = {"bracket_inches.stl": "in"}
MANY = 10_000_000  # unknowns: the check may take more than the main job
MEMORY = 16_000_000_000
SHARE = 0.05  # of the sag: pre-curving goes on until no more than this is left


@dataclass(frozen=True)
class RoundTrip:
    """What an independent finer firing makes of a pre-curved part."""

    sag_mm: float
    left_mm: float
    bricks_through: float
    firings: int
    precurve_s: float
    check_s: float


def displacement(
    mesh: trimesh.Trimesh, material: SagMaterial, settings: SagSettings, brick: float
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Displacement of a mesh's vertices, solved on a grid of its own."""
    allowed = replace(settings, brick_mm=brick, max_unknowns=MANY, max_memory=MEMORY)
    problem = prepare(mesh, material, allowed)
    grid = lay_grid(problem.mesh, problem.plan.grid.turn, brick, slack=1.0)
    field = sag_on_grid(problem.mesh, grid, material, settings).field
    return field.at(np.asarray(problem.mesh.vertices))


def round_trip(
    mesh: trimesh.Trimesh, material: SagMaterial, settings: SagSettings, finer: float = FINER
) -> tuple[PrecurveResult, RoundTrip]:
    """Pre-curve a part and fire it again on a finer grid."""
    planned = plan(mesh, settings)
    quick = displacement(mesh, material, settings, 2.0 * planned.brick_mm)
    share = SHARE * float(np.linalg.norm(quick, axis=1).max())
    tight = replace(settings, tolerance_mm=min(settings.tolerance_mm, share))
    start = time.perf_counter()
    result = precurve(mesh, material, tight)
    curved = time.perf_counter()
    fine = planned.brick_mm / finer
    wanted, shape = (np.asarray(m.vertices) for m in (result.wanted, result.mesh))
    before = displacement(result.wanted, material, settings, fine)
    after = displacement(result.mesh, material, settings, fine)
    fired = lay_on_plate(shape + after, shape, wanted, settings.up)
    return result, RoundTrip(
        sag_mm=float(np.linalg.norm(before, axis=1).max()),
        left_mm=float(np.linalg.norm(fired - wanted, axis=1).max()),
        bricks_through=planned.bricks_through,
        firings=result.rounds,
        precurve_s=curved - start,
        check_s=time.perf_counter() - curved,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("models", nargs="*", metavar="FILE[:UNIT[:UP]]")
    parser.add_argument("--finer", type=float, default=FINER)
    asked = parser.parse_args()
    models = asked.models or [
        f"{path}:{UNITS.get(path.name, 'mm')}" for path in sorted(SAMPLES.glob("*.stl"))
    ]
    material = sag_material(find_row(demo_table(), ROW, "the demo table"))
    print(f"{'model':<30} {'sag um':>9} {'left um':>9} {'share':>7}  bricks firings  seconds")
    for model in models:
        file, unit, up, *_ = (*str(model).split(":"), "", "")
        name = Path(file).name
        x, y, z = way_up(up or "z")
        settings = SagSettings(furnace_up=(float(x), float(y), float(z)))
        try:
            part = read_part(Path(file), unit or "mm")
            part.require_solid()
            result, trip = round_trip(part.mesh, material, settings, asked.finer)
        except ShrinkruleError as refusal:
            print(f"{name:<30} refused: {refusal}", flush=True)
            continue
        print(
            f"{name:<30} {1e3 * trip.sag_mm:9.2f} {1e3 * trip.left_mm:9.3f} "
            f"{100 * trip.left_mm / trip.sag_mm:6.1f} %  {trip.bricks_through:6.1f} "
            f"{trip.firings:7d}  {trip.precurve_s:.1f} + {trip.check_s:.1f}  "
            f"{result.verdict.value}",
            flush=True,
        )


if __name__ == "__main__":
    main()
