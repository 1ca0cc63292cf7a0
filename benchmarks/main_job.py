"""The whole main job, without sag, on fine meshes: time and memory, beside a general library.

Run ``python benchmarks/main_job.py``. Each line is one subprocess, so that peak memory is
its own. The yardstick in the same run is what trimesh needs to load the same file and
measure wall thickness by single rays on as many points.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import trimesh

from shrinkrule import stl_bytes

JOB = """
import json, resource, sys, time
from shrinkrule.cli import main
start = time.perf_counter()
code = main(["compensate", sys.argv[1], "--demo-table", "--out", sys.argv[2], "--json"])
"""
RAYS = """
import resource, sys, time
start = time.perf_counter()
import numpy as np, trimesh
mesh = trimesh.load(sys.argv[1])
points, facets = trimesh.sample.sample_surface(mesh, int(sys.argv[3]), seed=1)
trimesh.proximity.thickness(mesh, points, normals=mesh.face_normals[facets], method="ray")
mesh.export(sys.argv[2] + "/again.stl")
"""
REPORT = """
import os
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
sys.stderr.write(f"MEASURED {time.perf_counter() - start:.2f} {peak:.0f}\\n")
"""


def tube(inner: float, wall: float, height: float, around: int, along: int) -> trimesh.Trimesh:
    """Tube of quads cut in two, all of one size."""
    turn = 2.0 * np.pi * np.arange(around) / around
    profile = [(inner + wall, z) for z in np.linspace(0.0, height, along + 1)]
    profile += [(inner, z) for z in np.linspace(height, 0.0, along + 1)]
    vertices = np.array([(r * np.cos(t), r * np.sin(t), z) for r, z in profile for t in turn])
    start = (np.arange(len(profile)) * around)[:, None]
    here, there = np.arange(around), np.roll(np.arange(around), -1)
    above = np.roll(start, -1, axis=0)
    a, b, c, d = (x.ravel() for x in (start + here, start + there, above + there, above + here))
    faces = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return trimesh.Trimesh(vertices, faces, process=False)


def measured(script: str, *arguments: str) -> tuple[float, float, str]:
    """Seconds, peak MB and standard output of a script in its own process."""
    done = subprocess.run(
        [sys.executable, "-c", script + REPORT, *arguments],
        capture_output=True,
        text=True,
        check=True,
    )
    line = next(x for x in done.stderr.splitlines() if x.startswith("MEASURED"))
    _, seconds, peak = line.split()
    return float(seconds), float(peak), done.stdout


def start_up() -> float:
    """Seconds that ``--help`` takes, best of five."""
    script = "import time, sys; start = time.perf_counter()\n"
    script += "import resource\nfrom shrinkrule.cli import main\nmain(['--help'])\n"
    return min(measured(script)[0] for _ in range(5))


def main() -> None:
    """Print one line a mesh size."""
    print(f"start-up (--help): {start_up():.2f} s inside Python")
    with tempfile.TemporaryDirectory() as folder:
        meshes = {
            "tube": tube(18.0, 3.0, 40.0, 720, 34),
            "ring": trimesh.creation.torus(25.0, 5.0, 320, 160),
            "ring, fine": trimesh.creation.torus(25.0, 5.0, 1000, 500),
        }
        for name, mesh in meshes.items():
            path = Path(folder) / "part.stl"
            path.write_bytes(stl_bytes(mesh, name))
            seconds, peak, out = measured(JOB, str(path), folder)
            samples = sum(json.loads(out)["walls"]["samples"].values())
            other, other_peak, _ = measured(RAYS, str(path), folder, str(samples))
            print(
                f"{name}, {len(mesh.faces):,} facets: {seconds:.2f} s {peak:.0f} MB; trimesh load, "
                f"{samples:,} single rays and write {other:6.2f} s {other_peak:6.0f} MB; "
                f"ratio {seconds / other:.2f}"
            )


if __name__ == "__main__":
    main()
