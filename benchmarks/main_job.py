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
        for sections in (160, 500):
            tube = trimesh.creation.torus(
                major_radius=25, minor_radius=5, major_sections=2 * sections,
                minor_sections=sections,
            )  # fmt: skip
            path = Path(folder) / "ring.stl"
            path.write_bytes(stl_bytes(tube, "ring"))
            seconds, peak, out = measured(JOB, str(path), folder)
            samples = sum(json.loads(out)["walls"]["samples"].values())
            other, other_peak, _ = measured(RAYS, str(path), folder, str(samples))
            print(
                f"{len(tube.faces):>9,} facets: {seconds:6.2f} s {peak:6.0f} MB; trimesh load, "
                f"{samples:,} single rays and write {other:6.2f} s {other_peak:6.0f} MB; "
                f"ratio {seconds / other:.2f}"
            )


if __name__ == "__main__":
    main()
