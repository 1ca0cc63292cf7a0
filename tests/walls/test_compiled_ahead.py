"""Loops that other processes compile are the ones that the check then calls."""

from __future__ import annotations

import subprocess
import sys

import pytest

from shrinkrule.numerics import jit
from shrinkrule.walls import ahead

CHECK = """
from shrinkrule.walls import ahead
for share in range(len(ahead.SHARES)):
    ahead.compile_here(share)
import numpy as np, trimesh
from shrinkrule import Printer
from shrinkrule.walls import check_walls
wedge = trimesh.convex.convex_hull(np.array(
    [(0, 0, 0), (9, 0, 0), (0, 9, 0), (9, 9, 0), (0, 0, 5), (0, 9, 5)], dtype=float))
plate = trimesh.creation.box((20, 20, 1.5))
plate.apply_translation((40, 0, 0))
check_walls(trimesh.util.concatenate([wedge, plate]), Printer.from_nozzle(0.6))
for loop in sum(ahead.SHARES, ()):
    print(loop.__name__, len(loop.signatures))
"""


def test_what_is_compiled_ahead_is_what_a_check_calls() -> None:
    """A check that follows calls each loop in the one signature that was compiled ahead."""
    said = subprocess.run([sys.executable, "-c", CHECK], check=True, capture_output=True, text=True)
    found = dict(line.split() for line in said.stdout.splitlines())
    assert found == {loop.__name__: "1" for share in ahead.SHARES for loop in share}


def test_a_process_starts_once_and_only_for_what_is_missing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With all on disk nothing is started; else one process for each share, and each ends."""
    monkeypatch.setattr(jit, "_running", [])
    monkeypatch.setattr(jit, "is_on_disk", lambda _: True)
    jit.compile_elsewhere("no_such_module", ahead.SHARES)
    assert not jit._running
    missing = ahead.SHARES[1][0]
    monkeypatch.setattr(jit, "is_on_disk", lambda loop: loop is not missing)
    jit.compile_elsewhere("no_such_module", ahead.SHARES)
    jit.compile_elsewhere("no_such_module", ahead.SHARES)
    ((process, loops),) = jit._running
    assert isinstance(process.args, list)
    assert process.args[-1] == "1"
    assert loops == ahead.SHARES[1]
    jit.wait_for_compiled(missing)
    assert process.poll() is not None


def test_where_no_process_can_start_this_one_compiles(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jit, "_running", [])
    monkeypatch.setattr(jit, "is_on_disk", lambda _: False)
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    jit.compile_elsewhere("no_such_module", ahead.SHARES)
    assert jit._running == []


def test_only_the_process_that_compiles_a_loop_is_waited_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Another process may go on meanwhile."""
    waited = []

    class Process:
        def __init__(self, number: int) -> None:
            self.number = number

        def wait(self) -> None:
            waited.append(self.number)

    processes = [(Process(number), share) for number, share in enumerate(ahead.SHARES)]
    monkeypatch.setattr(jit, "_running", processes)
    for number, share in enumerate(ahead.SHARES):
        for loop in share:
            waited.clear()
            jit.wait_for_compiled(loop)
            assert waited == [number]
