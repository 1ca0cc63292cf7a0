"""The memory that a large part takes stays under the estimate by which larger ones are refused."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import trimesh

from shrinkrule.files import stl_bytes
from shrinkrule.files.unpack import needed_memory

RISE = """
import pathlib, sys
from shrinkrule.cli.main import main

def peak():
    # Not ru_maxrss, which a process has from the one that started it.
    lines = pathlib.Path("/proc/self/status").read_text().splitlines()
    return 1024 * int(next(line.split()[1] for line in lines if line.startswith("VmHWM")))

def run(model):
    argv = ["compensate", model, "--demo-table", "--force", "--json", "--out", sys.argv[1]]
    assert main(argv) == 0

run(sys.argv[2])
before = peak()
if len(sys.argv) > 3:
    run(sys.argv[3])
    print("rise", peak() - before)
"""


def test_a_large_part_takes_no_more_memory_than_is_estimated(tmp_path: Path) -> None:
    """A ring of 128 000 facets, after a small part: what is compiled and imported is there then."""
    small, large = tmp_path / "small.stl", tmp_path / "large.stl"
    # Both are small, for it is the facets that are asked about, not the samples of a wide area.
    small.write_bytes(stl_bytes(trimesh.creation.torus(6.0, 1.5, 40, 20), "ring"))
    ring = trimesh.creation.torus(10.0, 2.0, 320, 200)
    large.write_bytes(stl_bytes(ring, "ring"))
    argv = [sys.executable, "-c", RISE, str(tmp_path), str(small)]
    # Compiling takes more than the part does: it is done in a process of its own.
    subprocess.run(argv, capture_output=True, check=True, timeout=300)
    argv.append(str(large))
    done = subprocess.run(argv, capture_output=True, text=True, check=True, timeout=300)
    rise = int(done.stdout.split("rise")[-1])
    estimate = needed_memory(len(ring.faces))
    # Not so far above that parts are refused in vain: a third of it is used, or more.
    assert estimate / 3 < rise < estimate
