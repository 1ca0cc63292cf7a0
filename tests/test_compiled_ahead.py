"""Loops that other processes compile are the ones that the check then calls."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from shrinkrule import ahead
from shrinkrule.numerics import jit
from shrinkrule.walls import layers_ahead

SHARES = ahead.shares(with_sag=True)
SAMPLE = Path(__file__).parents[1] / "sample_models" / "lever_arm.stl"
CHECK = """
import sys
from shrinkrule import ahead
for share in range(len(ahead.WALLS)):
    ahead.compile_here(share, with_sag=True)
import numpy as np, trimesh
from shrinkrule import Printer, Recipe, compensate, demo_table, find_row, read_part
from shrinkrule.walls import check_walls
row = find_row(demo_table(), "bronze demo batch 90", "demo table")
compensate(read_part(sys.argv[1]), Recipe(Printer.from_nozzle(0.6), row))
wedge = trimesh.convex.convex_hull(np.array(
    [(0, 0, 0), (9, 0, 0), (0, 9, 0), (9, 9, 0), (0, 0, 5), (0, 9, 5)], dtype=float))
plate = trimesh.creation.box((20, 20, 1.5))
plate.apply_translation((40, 0, 0))
check_walls(trimesh.util.concatenate([wedge, plate]), Printer.from_nozzle(0.6))
for loop in sum(ahead.shares(with_sag=True), ()):
    print(loop.__name__, len(loop.signatures))
"""
LAYERS = """
import trimesh
from shrinkrule import Printer
from shrinkrule.walls import check_walls, layers_ahead
layers_ahead.compile_here()
plate = trimesh.creation.box((20, 20, 8))
fin = trimesh.creation.box((0.5, 12, 8))
fin.apply_translation((30, 0, 0))
for part in (plate, trimesh.util.concatenate([plate, fin])):
    check_walls(part, Printer.from_nozzle(0.6))
for loop in layers_ahead.LOOPS:
    print(loop.__name__, len(loop.signatures))
"""


def test_what_is_compiled_ahead_is_what_a_check_calls() -> None:
    """A job that follows calls each loop in the one signature that was compiled ahead."""
    command = [sys.executable, "-c", CHECK, str(SAMPLE)]
    said = subprocess.run(command, check=True, capture_output=True, text=True)
    found = dict(line.split() for line in said.stdout.splitlines())
    assert found == {loop.__name__: "1" for share in SHARES for loop in share}


def test_what_is_compiled_for_the_layer_check_is_what_it_calls() -> None:
    """The layers of a part with a wall too thin are looked at in the signatures known."""
    command = [sys.executable, "-c", LAYERS]
    said = subprocess.run(command, check=True, capture_output=True, text=True)
    found = [line.split() for line in said.stdout.splitlines()]
    assert found == [[loop.__name__, "1"] for loop in layers_ahead.LOOPS]


def test_a_process_starts_once_and_only_for_what_is_missing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With all on disk nothing is started; else one process for each share, and each ends."""
    monkeypatch.setattr(jit, "_running", [])
    monkeypatch.setattr(jit, "is_on_disk", lambda _: True)
    jit.compile_elsewhere("no_such_module", SHARES)
    assert not jit._running
    missing = SHARES[1][0]
    monkeypatch.setattr(jit, "is_on_disk", lambda loop: loop is not missing)
    jit.compile_elsewhere("no_such_module", SHARES)
    jit.compile_elsewhere("no_such_module", SHARES)
    ((process, loops),) = jit._running
    assert isinstance(process.args, list)
    assert process.args[-1] == "1"
    assert loops == SHARES[1]
    jit.wait_for_compiled(missing)
    assert process.poll() is not None


def test_where_no_process_can_start_this_one_compiles(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jit, "_running", [])
    monkeypatch.setattr(jit, "is_on_disk", lambda _: False)
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    jit.compile_elsewhere("no_such_module", SHARES)
    assert jit._running == []


def test_a_loop_is_waited_for_until_it_is_there_or_its_process_has_ended(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The process may go on with its next loop meanwhile, and another is not asked."""
    asked: list[int] = []
    there: list[object] = []

    class Process:
        def __init__(self, number: int) -> None:
            self.number = number

        def poll(self) -> int | None:
            asked.append(self.number)
            if len(asked) == 3:
                there.append(SHARES[0][1])
            return 0 if len(asked) == 9 else None

    processes = [(Process(number), share) for number, share in enumerate(SHARES)]
    monkeypatch.setattr(jit, "_running", processes)
    monkeypatch.setattr(jit, "_LOOK_AGAIN_S", 0.0)
    monkeypatch.setattr(jit, "is_on_disk", lambda loop: loop in there)
    jit.wait_for_compiled(SHARES[0][1])
    assert asked == [0] * 3
    jit.wait_for_compiled(SHARES[1][2])
    assert asked == [0] * 3 + [1] * 6
    jit.wait_for_compiled(jit.is_on_disk)
    assert len(asked) == 9
