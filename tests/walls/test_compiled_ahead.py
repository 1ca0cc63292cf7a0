"""Loops that a second process compiles are the ones that the check then calls."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from shrinkrule.numerics import jit
from shrinkrule.walls import ahead

CHECK = """
import numpy as np, trimesh
from shrinkrule import Printer
from shrinkrule.walls import check_walls
from shrinkrule.walls import ahead
wedge = trimesh.convex.convex_hull(np.array(
    [(0, 0, 0), (9, 0, 0), (0, 9, 0), (9, 9, 0), (0, 0, 5), (0, 9, 5)], dtype=float))
plate = trimesh.creation.box((20, 20, 1.5))
plate.apply_translation((40, 0, 0))
check_walls(trimesh.util.concatenate([wedge, plate]), Printer.from_nozzle(0.6))
for loop in ahead.LATE:
    print(loop.__name__, len(loop.signatures), sum(loop.stats.cache_misses.values()))
"""


def test_a_second_process_compiles_what_a_check_calls(tmp_path: Path) -> None:
    """After it, the check finds each loop on disk, in the one signature that it is called with."""
    variables = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
    command = [sys.executable, "-P", "-m", ahead.__name__]
    subprocess.run(command, env=variables, check=True)
    said = subprocess.run(
        [sys.executable, "-c", CHECK], env=variables, check=True, capture_output=True, text=True
    )
    found = dict(line.split(maxsplit=1) for line in said.stdout.splitlines())
    # Only what a part of this kind calls has a signature; nothing is compiled again.
    assert set(found) == {loop.__name__ for loop in ahead.LATE}
    assert found["grow"] == found["look_behind"] == found["project"] == "1 0"
    assert found["centre"] in ("1 0", "0 0")


def test_the_second_process_starts_once_and_only_when_something_is_missing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With all on disk nothing is started; else one process, and the wait ends with it."""
    monkeypatch.setattr(jit, "_running", [])
    monkeypatch.setattr(jit, "is_on_disk", lambda _: True)
    jit.compile_elsewhere("no_such_module", ahead.LATE)
    assert not jit._running
    monkeypatch.setattr(jit, "is_on_disk", lambda _: False)
    jit.compile_elsewhere("no_such_module", ahead.LATE)
    jit.compile_elsewhere("no_such_module", ahead.LATE)
    assert len(jit._running) == 1
    jit.wait_for_compiled()
    assert jit._running[0].poll() is not None
