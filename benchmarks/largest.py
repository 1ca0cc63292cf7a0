"""Time and memory of the largest files: a whole command on each, in a process of its own.

Run ``python benchmarks/largest.py [--facets N ...]``. A ball of about so many facets is written in
each format, and ``shrinkrule compensate --no-sag`` run on it; processor time, wall time and peak
memory are those of the child.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh

from shrinkrule import stl_bytes
from shrinkrule.files import threemf_bytes


def ball(facets: int) -> trimesh.Trimesh:
    """A ball of 60 mm in rings and meridians, with about so many facets."""
    rings = max(3, round((facets / 4) ** 0.5))
    around = 2 * rings
    turn = 2.0 * np.pi * np.arange(around) / around
    tilt = np.pi * np.arange(1, rings) / rings
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    flat = np.sin(tilt)[:, None, None] * circle
    high = np.broadcast_to(np.cos(tilt)[:, None, None], (*flat.shape[:2], 1))
    points = 30.0 * np.concatenate([flat, high], axis=2).reshape(-1, 3)
    one, after = np.arange(around), (np.arange(around) + 1) % around
    first = np.arange(rings - 2)[:, None] * around
    a, b = first + one, first + after
    c, d = a + around, b + around
    top, last = len(points), (rings - 2) * around
    pieces = [
        np.stack([a, c, b], axis=2).reshape(-1, 3),
        np.stack([b, c, d], axis=2).reshape(-1, 3),
        np.column_stack([np.full(around, top), one, after]),
        np.column_stack([np.full(around, top + 1), last + after, last + one]),
    ]
    poles = [[0.0, 0.0, 30.0], [0.0, 0.0, -30.0]]
    return trimesh.Trimesh(np.vstack([points, poles]), np.vstack(pieces), process=False)


def cost_of(path: Path, folder: Path) -> tuple[int, float, float, float]:
    """Exit code, processor seconds, wall seconds and peak GB of the whole command."""
    argv = ["-m", "shrinkrule", "compensate", str(path), "--scale-xy", "1.17", "--scale-z", "1.19"]
    argv += ["--no-sag", "--force", "--out", str(folder)]
    start = time.perf_counter()
    quiet = (os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)
    child = os.posix_spawn(
        sys.executable, [sys.executable, *argv], dict(os.environ), file_actions=[quiet]
    )
    _, status, used = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status)
    spent = used.ru_utime + used.ru_stime
    return code, spent, time.perf_counter() - start, 1e-6 * used.ru_maxrss


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--facets", type=int, nargs="+", default=[200_000, 1_000_000, 5_000_000])
    parser.add_argument("--formats", nargs="+", default=["stl", "3mf", "ply"])
    asked = parser.parse_args()
    print("facets format size_MB exit processor_s wall_s peak_GB")
    for facets in asked.facets:
        mesh = ball(facets)
        writers: dict[str, Callable[[trimesh.Trimesh], bytes]] = {
            "stl": lambda m: stl_bytes(m, "ball"),
            "3mf": lambda m: threemf_bytes(m, "ball", {}),
            "ply": lambda m: bytes(m.export(file_type="ply")),
            "obj": lambda m: m.export(file_type="obj").encode(),
            "off": lambda m: m.export(file_type="off").encode(),
        }
        for kind in asked.formats:
            with tempfile.TemporaryDirectory() as scratch:
                model = Path(scratch) / f"ball.{kind}"
                model.write_bytes(writers[kind](mesh))
                size = model.stat().st_size / 1e6
                code, spent, wall, peak = cost_of(model, Path(scratch))
            print(
                f"{len(mesh.faces)} {kind} {size:.0f} {code} {spent:.1f} {wall:.1f} {peak:.2f}",
                flush=True,
            )
