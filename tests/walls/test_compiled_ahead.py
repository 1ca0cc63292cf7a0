"""Loops that a second process compiles are the ones that the check then calls."""

from __future__ import annotations

import subprocess
import sys

import pytest

from shrinkrule.numerics import jit
from shrinkrule.walls import ahead

CHECK = """
from shrinkrule.walls import ahead
ahead.compile_here()
import numpy as np, trimesh
from shrinkrule import Printer
from shrinkrule.walls import check_walls
wedge = trimesh.convex.convex_hull(np.array(
    [(0, 0, 0), (9, 0, 0), (0, 9, 0), (9, 9, 0), (0, 0, 5), (0, 9, 5)], dtype=float))
plate = trimesh.creation.box((20, 20, 1.5))
plate.apply_translation((40, 0, 0))
check_walls(trimesh.util.concatenate([wedge, plate]), Printer.from_nozzle(0.6))
for loop in ahead.LATE:
    print(loop.__name__, len(loop.signatures))
"""


def test_what_is_compiled_ahead_is_what_a_check_calls() -> None:
    """A check that follows calls each loop in the one signature that was compiled ahead."""
    said = subprocess.run([sys.executable, "-c", CHECK], check=True, capture_output=True, text=True)
    found = dict(line.split() for line in said.stdout.splitlines())
    assert found == {loop.__name__: "1" for loop in ahead.LATE}


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
