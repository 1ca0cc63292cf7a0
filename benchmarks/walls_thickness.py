"""Ball thickness beside general-purpose libraries: time and memory on the same samples.

Run ``python benchmarks/walls_thickness.py``. Each measurement is a process of its own, so that
peak memory is its own; importing, compiling and drawing the samples are not counted, making the
mesh ready (our tree, their tree and scene) is. Ours uses all cores, the others one, so processor
time stands beside the clock.

100 000 samples: ``trimesh.proximity.thickness(method="max_sphere")``, wanted at least 60 times as
slow and more than 5 times as large. 1 000 000 samples: bare embree rays, one inward from each
sample by ``trimesh.ray``, wanted no less than a third of our time.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh
from trimesh.ray.ray_pyembree import RayMeshIntersector

from shrinkrule import refine_for_bending
from shrinkrule.walls.thickness.spheres import Surface, thickness_on

MOST_SECONDS = 600
MOST_BYTES = 10_000_000_000
SAMPLES = Path(__file__).parent.parent / "sample_models"


def tube(around: int, along: int) -> trimesh.Trimesh:
    """Build a tube of 18 mm bore, 3 mm wall and 40 mm length, of facets all of one size."""
    up = np.linspace(0.0, 40.0, along + 1)
    inner, outer = np.full_like(up, 18.0), np.full_like(up, 21.0)
    profile = np.vstack([np.column_stack([outer, up]), np.column_stack([inner, up[::-1]])])
    return trimesh.creation.revolve(np.vstack([profile, profile[:1]]), sections=around)


def pillow_block() -> trimesh.Trimesh:
    mesh = trimesh.load(SAMPLES / "pillow_block.stl")
    return refine_for_bending(mesh, 0.5)


PARTS: dict[str, Callable[[], trimesh.Trimesh]] = {
    "plate of 12 facets": lambda: trimesh.creation.box((60.0, 40.0, 3.0)),
    "tube": lambda: tube(720, 34),
    "tube, fine": lambda: tube(1600, 155),
    "pillow block, refined": pillow_block,
}


def balls(mesh: trimesh.Trimesh, points: np.ndarray, facets: np.ndarray) -> np.ndarray:
    nothing = np.zeros(len(points))
    return thickness_on(Surface(mesh), points, facets, nothing, nothing).thickness


def spheres(mesh: trimesh.Trimesh, points: np.ndarray, facets: np.ndarray) -> np.ndarray:
    thickness: np.ndarray = trimesh.proximity.thickness(
        mesh, points, normals=mesh.face_normals[facets], method="max_sphere"
    )
    return thickness


def rays(mesh: trimesh.Trimesh, points: np.ndarray, facets: np.ndarray) -> np.ndarray:
    inward = -mesh.face_normals[facets]
    start = points + 1e-5 * mesh.scale * inward
    hit = RayMeshIntersector(mesh).intersects_first(start, inward)
    return np.where(hit >= 0, np.nan, np.inf)


WAYS = {"ours": balls, "spheres": spheres, "rays": rays}


def processor_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def measure(way: str, part: str, count: int) -> None:
    """Print seconds, processor seconds, peak MB, MB more than before, and the median thickness."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    mesh = PARTS[part]()
    points, facets = trimesh.sample.sample_surface(mesh, count, seed=1)
    ball = trimesh.creation.icosphere(1)
    WAYS[way](ball, *trimesh.sample.sample_surface(ball, 10, seed=1))
    before, start, used = peak_mb(), time.perf_counter(), processor_s()
    thickness = WAYS[way](mesh, np.asarray(points), np.asarray(facets))
    seconds, used = time.perf_counter() - start, processor_s() - used
    told = [seconds, used, peak_mb(), peak_mb() - before, float(np.median(thickness))]
    print(json.dumps([len(mesh.faces), *told]))


def measured(way: str, part: str, count: int) -> list[float] | None:
    """What :func:`measure` prints in a process of its own; None when it needs too much."""
    try:
        done = subprocess.run(
            [sys.executable, __file__, way, part, str(count)],
            capture_output=True,
            text=True,
            check=True,
            timeout=MOST_SECONDS,
        )
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError):
        return None
    values: list[float] = json.loads(done.stdout)
    return values


def compare(part: str, count: int, other: str, named: str) -> None:
    ours, theirs = measured("ours", part, count), measured(other, part, count)
    assert ours is not None
    facets, seconds, used, peak, more, _ = ours
    line = (
        f"{part}, {facets:,.0f} facets, {count:,} samples: {seconds:.2f} s ({used:.2f} s of "
        f"processor), {peak:.0f} MB ({more:.0f} MB more than before)"
    )
    print(line)
    if theirs is None:
        print(f"  {named}: not within {MOST_SECONDS} s and {MOST_BYTES / 1e9:.0f} GB")
        return
    _, seconds2, used2, peak2, more2, _ = theirs
    print(
        f"  {named}: {seconds2:.2f} s ({used2:.2f} s of processor), {peak2:.0f} MB ({more2:.0f} MB "
        f"more)\n  theirs over ours: time {seconds2 / seconds:.2f}, processor {used2 / used:.2f}, "
        f"memory {peak2 / peak:.2f}; ours over theirs: time {seconds / seconds2:.2f}"
    )


def main() -> None:
    if len(sys.argv) == 4:
        measure(sys.argv[1], sys.argv[2], int(sys.argv[3]))
        return
    # On the pillow block 100 000 samples need more memory than the library may have here.
    for part, count in (
        ("plate of 12 facets", 100_000),
        ("tube", 100_000),
        ("pillow block, refined", 10_000),
    ):
        compare(part, count, "spheres", "trimesh max_sphere")
    for part in ("plate of 12 facets", "tube, fine", "pillow block, refined"):
        compare(part, 1_000_000, "rays", "bare embree rays")


if __name__ == "__main__":
    main()
