"""What each step of the main job costs on real parts: processor time, wall time, peak memory.

Run ``python benchmarks/real_parts.py [--meshes FOLDER] [--only TEXT] [--limit SECONDS]``. The
parts are the sample models and every mesh of the folder, as they are and scaled to 150 mm, and
large plain ones made here. Each runs in a process of its own, which is stopped at the limit.
What runs in a thread beside a step counts in that step. Below the steps stand bare rays from
the same samples, in the same process: no check of walls can take less. The last lines are
whole commands, with a warm and with an empty compile cache.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from main_job import tube

from shrinkrule import (
    Printer,
    Recipe,
    ShrinkruleError,
    compensate,
    demo_table,
    find_row,
    read_part,
    stl_bytes,
)

SAMPLES = Path(__file__).parent.parent / "sample_models"
ENDINGS = (".stl", ".3mf")
LARGE_MM = 150.0
STEPS = {
    "preparing the surface": "prepare",
    "measuring walls": "balls",
    "cutting layers": "layers",
    "joining places": "joining",
    "walls checked": "prediction",
    "estimating sag": "quick sag",
    "ranked": "quick sag",
    "looking at the print": "print checks",
    "finding dimensions": "dimensions",
}
"""Stages that the wall check reports, and the step each is; another keeps its own name."""


@dataclass
class Meter:
    """Costs by step: processor seconds, wall seconds, peak MB."""

    steps: dict[str, list[float]] = field(default_factory=dict)
    _now: str = ""
    _since: tuple[float, float] = (0.0, 0.0)

    def start(self, step: str) -> None:
        """End the step before, and count for this one."""
        self.stop()
        self._now, self._since = step, (time.process_time(), time.perf_counter())
        reset_peak()

    def stop(self) -> None:
        """End the step."""
        if self._now:
            spent = self.steps.setdefault(self._now, [0.0, 0.0, 0.0])
            spent[0] += time.process_time() - self._since[0]
            spent[1] += time.perf_counter() - self._since[1]
            spent[2] = max(spent[2], peak_mb())
        self._now = ""

    def stage(self, name: str, _done: float) -> None:
        """Progress of a job: its stages are steps."""
        step = "quick sag" if name.startswith("trying") else STEPS.get(name, name)
        if name == "done":
            self.stop()
        elif step != self._now:
            self.start(step)


def reset_peak() -> None:
    """Forget the peak so far, where the system can (Linux); else peaks only grow."""
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return


def peak_mb() -> float:
    """Peak memory of this process, MB."""
    try:
        status = Path("/proc/self/status").read_text()
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return float(status.split("VmHWM:")[1].split()[0]) / 1024


def measure(path: Path, folder: Path) -> dict[str, Any]:
    """Costs of all steps on one file."""
    from shrinkrule.files import OutputSet
    from shrinkrule.mesh import Rays, inspect_mesh
    from shrinkrule.report.html import job_html

    meter = Meter()
    meter.start("read")
    part = read_part(path)
    # Reading has inspected the part already; here it is done again, alone.
    meter.start("inspect")
    inspect_mesh(part.mesh)
    meter.start("scale")
    row = find_row(demo_table(), "bronze demo batch 90", "demo table")
    recipe = Recipe(Printer.from_nozzle(0.6), row)
    result = compensate(part, recipe, meter.stage)
    files = {kind: folder / f"part.{kind}" for kind in ("green_stl", "json", "html")}
    meter.start("pictures")
    page = job_html(result, files)
    meter.start("write")
    outputs = OutputSet()
    outputs.add(files["green_stl"], stl_bytes(result.to_slice, "benchmark"))
    outputs.add(files["html"], page.encode())
    outputs.write()
    del page, outputs
    samples = result.walls.report.samples
    points, inward = np.asarray(samples.points), -np.asarray(samples.normals)
    meter.start("bare rays")
    rays = Rays(result.green.mesh)
    rays.opposite(points - rays.middle, inward, rays.span)
    meter.stop()
    return {"facets": part.soundness.facets, "samples": len(points), "steps": meter.steps}


def text_stl(mesh: trimesh.Trimesh) -> bytes:
    """Text STL with seven digits, as most programs write it."""
    corner = "   vertex %.6e %.6e %.6e\n"
    facet = " facet normal %.6e %.6e %.6e\n  outer loop\n" + 3 * corner + "  endloop\n endfacet\n"
    rows = np.hstack([mesh.face_normals, mesh.triangles.reshape(-1, 9)])
    return f"solid part\n{''.join(facet % tuple(row) for row in rows.tolist())}endsolid\n".encode()


def pyramid() -> trimesh.Trimesh:
    """Five sides and a base of five facets, 145 mm across, 100 mm high."""
    turn = 2.0 * np.pi * np.arange(5) / 5
    rim = np.column_stack([72.5 * np.cos(turn), 72.5 * np.sin(turn), np.zeros(5)])
    here, there = np.arange(5), np.roll(np.arange(5), -1)
    sides = np.column_stack([here, there, np.full(5, 5)])
    base = np.column_stack([there, here, np.full(5, 6)])
    vertices = np.vstack([rim, [0.0, 0.0, 100.0], np.zeros(3)])
    return trimesh.Trimesh(vertices, np.vstack([sides, base]), process=False)


def soup(count: int) -> trimesh.Trimesh:
    """Random triangles that share nothing."""
    random = np.random.default_rng(1)
    corners = 100.0 * random.random((count, 1, 3)) + 8.0 * random.random((count, 3, 3))
    return trimesh.Trimesh(
        corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3), process=False
    )


def balls(count: int) -> trimesh.Trimesh:
    """Loose balls of 320 facets, 6 mm thick, 7 mm apart."""
    one, number = trimesh.creation.icosphere(2, 3.0), np.arange(count)
    places = 7.0 * np.column_stack([number % 20, number // 20 % 10, number // 200])
    vertices = (one.vertices + places[:, None]).reshape(-1, 3)
    faces = (one.faces + len(one.vertices) * number[:, None, None]).reshape(-1, 3)
    return trimesh.Trimesh(vertices, faces, process=False)


MADE: dict[str, Callable[[], trimesh.Trimesh]] = {
    "five-sided pyramid": pyramid,
    "text STL, 200 000 facets": lambda: tube(18.0, 3.0, 40.0, 720, 69),
    "tube, 100 000 facets": lambda: tube(18.0, 3.0, 40.0, 720, 34),
    "ring, 1 000 000 facets": lambda: trimesh.creation.torus(25.0, 5.0, 1000, 500),
    "tube, 3 200 000 facets": lambda: tube(18.0, 3.0, 40.0, 3200, 249),
    "tube, 5 000 000 facets": lambda: tube(18.0, 3.0, 40.0, 4000, 312),
    "soup, 5 000 triangles": lambda: soup(5000),
    "2 000 bodies of 320 facets": lambda: balls(2000),
}


def parts(meshes: Path | None, folder: Path, only: str) -> Iterator[tuple[str, Path]]:
    """Name and file of each part, written when it is its turn."""
    files = sorted(SAMPLES.glob("*.stl"))
    if meshes is not None:
        files += sorted(p for p in meshes.iterdir() if p.suffix.lower() in ENDINGS)
    for path in files:
        if only in path.name:
            yield path.name, path
        large = f"{path.name}, {LARGE_MM:g} mm"
        if only in large:
            scaled = folder / "scaled.stl"
            try:
                mesh = read_part(path).mesh
            except ShrinkruleError:
                continue  # it has been shown already, as it is
            mesh.apply_scale(LARGE_MM / float(mesh.extents.max()))
            scaled.write_bytes(stl_bytes(mesh, "scaled"))
            yield large, scaled
    for name, make in MADE.items():
        if only in name:
            path = folder / "made.stl"
            mesh = make()
            path.write_bytes(text_stl(mesh) if name.startswith("text") else stl_bytes(mesh, name))
            yield name, path


def in_own_process(path: Path, folder: Path, limit: float) -> dict[str, Any] | str:
    """Costs on one file, or why there are none."""
    command = [sys.executable, __file__, "--one", str(path), "--folder", str(folder)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=limit)
    except subprocess.TimeoutExpired:
        return f"stopped after {limit:g} s"
    if done.returncode:
        return (done.stderr.strip().splitlines() or ["failed"])[-1]
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def show(name: str, found: dict[str, Any] | str) -> None:
    """Print the table of one part."""
    if isinstance(found, str):
        print(f"{name}: {found}", flush=True)
        return
    print(f"{name}: {found['facets']:,} facets, {found['samples']:,} samples")
    steps = found["steps"]
    rays = steps.pop("bare rays")
    steps["all"] = [*(sum(s[k] for s in steps.values()) for k in range(2)), 0.0]
    steps["all"][2] = max(s[2] for s in steps.values())
    for step, (cpu, wall, peak) in {**steps, "bare rays": rays}.items():
        print(f"  {step:<22}{cpu:9.2f} s cpu {wall:9.2f} s wall {peak:8.0f} MB")
    if "balls" in steps and rays[0] > 0.0:
        print(f"  balls over bare rays  {steps['balls'][0] / rays[0]:9.2f}", flush=True)


def whole_command(folder: Path, arguments: list[str], cache: Path | None = None) -> str:
    """Cost of a command, with the cache there is or another."""
    # An installation has its modules compiled; where none may be kept, each run compiles them.
    variables = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    if cache is not None:
        variables["NUMBA_CACHE_DIR"] = str(cache)
    command = [sys.executable, "-m", "shrinkrule", *arguments, "--json", "--out", str(folder)]
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    # 2: bad input, which costs something too
    done = subprocess.run(command, env=variables, check=False, capture_output=True)
    if done.returncode not in (0, 2):
        return f"ended with {done.returncode}"
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return f"{cpu:.2f} s cpu {time.perf_counter() - start:.2f} s wall"


def show_commands(folder: Path) -> None:
    """Print what whole commands cost."""
    sample = str(SAMPLES / "lever_arm.stl")
    lever = ["compensate", sample, "--demo-table", "--force"]
    sheets = [str(path) for path in sorted((SAMPLES / "sheets").glob("*.csv"))]
    cut = folder / "cut.stl"
    cut.write_bytes(Path(sample).read_bytes()[:-100])
    commands = {
        "small sample, warm": lever,
        "calibrate, four sheets": ["calibrate", *sheets, "--yes"],
        "cut STL, refused": ["compensate", str(cut), "--demo-table"],
    }
    for arguments in commands.values():
        whole_command(folder, arguments)  # compiles what is not yet compiled
    for name, arguments in commands.items():
        print(f"whole command, {name}: {whole_command(folder, arguments)}", flush=True)
    first = whole_command(folder, lever, folder / "empty")
    print(f"whole command, small sample, nothing compiled yet: {first}")


def main() -> None:
    """Print one table a part."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--meshes", type=Path, help="folder of meshes to add to the sample models")
    options.add_argument("--only", default="", help="only parts whose name holds this text")
    options.add_argument("--limit", type=float, default=300.0, help="seconds for one part")
    options.add_argument("--one", type=Path, help=argparse.SUPPRESS)
    options.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    asked = options.parse_args()
    if asked.one is not None:
        print(json.dumps(measure(asked.one, asked.folder)))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # Compiles what is not yet compiled.
        whole_command(folder, ["compensate", str(SAMPLES / "lever_arm.stl"), "--demo-table"])
        for title, path in parts(asked.meshes, folder, asked.only):
            show(title, in_own_process(path, folder, asked.limit))
        if asked.only in "whole command":
            show_commands(folder)


if __name__ == "__main__":
    main()
