"""Commands killed at random moments: what they leave is looked at after every kill.

Run ``python benchmarks/kills.py [--count 200] [--seed 0]``. Each run is a child that is killed
(SIGKILL) either after a random time or at a random step of writing (a temporary file made, synced,
renamed). After it: inputs are as they were, every file with a final name is whole and of one of
the runs, a green part that is not of the report beside it is told, no row of a table is gone, and
nothing else is left but temporary files and a lock. Exit code 1 if anything of that fails.
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import json
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh

from shrinkrule import read_part, read_table, stl_bytes
from shrinkrule.cli import main
from shrinkrule.report.outputs import job_paths, what_does_not_match

SHEETS = sorted((Path(__file__).parent.parent / "sample_models" / "sheets").glob("*.csv"))
LONGEST_S = 4.0
"""Longer than any of the commands takes once its modules are loaded."""

STEPS = ("mkstemp", "fsync", "replace")
AT_A_STEP = 0.5
"""Share of the kills that wait for a step of writing; the rest come at random times."""


def commands(folder: Path, rng: random.Random) -> dict[str, list[str]]:
    """The four commands, each with something that differs from run to run."""
    out = ["--out", str(folder)]
    factor = rng.choice(("1.17", "1.18"))
    sheets = [str(path) for path in SHEETS[:2]]
    return {
        "compensate": [
            *("compensate", str(folder / "box.stl"), "--scale-xy", factor, "--scale-z", "1.19"),
            *("--force", *out),
        ],
        "walls": ["walls", str(folder / "box.stl"), *out],
        "coupon": ["coupon", "--box", rng.choice(("80x60x50", "90x60x50")), "--force", *out],
        "calibrate": [
            *("calibrate", *sheets, "--table", str(folder / "table.csv"), "--yes"),
            *("--row", f"row {rng.randrange(10**9)}", *out),
        ],
    }


def run_killed(argv: list[str], rng: random.Random, at_a_step: float) -> str:
    """Run a command in a child and kill it; say how it ended."""
    at_step = rng.random() < at_a_step
    step, nth = rng.choice(STEPS), rng.randrange(1, 4)
    child = os.fork()
    if child == 0:
        _be_quiet()
        if at_step:
            _kill_at(step, nth)
        os._exit(main(argv))
    until = time.monotonic() + (LONGEST_S * 30 if at_step else rng.uniform(0.0, LONGEST_S))
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return f"killed at a {step}" if os.WIFSIGNALED(status) else _ended(status)
        time.sleep(0.002)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    return "killed at a time" if os.WIFSIGNALED(status) else _ended(status)


def _ended(status: int) -> str:
    return "ended first" if status == 0 else f"ended first with {os.waitstatus_to_exitcode(status)}"


def _be_quiet() -> None:
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)


def _kill_at(step: str, nth: int) -> None:
    """Have this process killed at its ``nth`` step of a kind, before or after the step."""
    count = itertools.count(1)
    owner = {"mkstemp": tempfile, "fsync": os, "replace": Path}[step]
    real: Callable[..., object] = getattr(owner, step)

    def counted(*arguments: object, **named: object) -> object:
        if next(count) == nth:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*arguments, **named)

    setattr(owner, step, counted)


def faults(folder: Path, inputs: dict[str, str], rows: set[str]) -> list[str]:
    """What is wrong in the folder after a kill; adds the rows of the table to ``rows``."""
    wrong = []
    for path in sorted(folder.iterdir()):
        name = path.name
        if name in inputs:
            if hashlib.sha256(path.read_bytes()).hexdigest() != inputs[name]:
                wrong.append(f"the input {name} was changed")
        elif name.startswith(".shrinkrule-") or name == ".table.csv.lock":
            continue
        elif why := _not_whole(path):
            wrong.append(f"{name}: {why}")
    table = folder / "table.csv"
    if table.exists():
        now = {row.name for row in read_table(table)}
        if lost := rows - now:
            wrong.append(f"rows are gone: {', '.join(sorted(lost))}")
        rows |= now
    return wrong


def _not_whole(path: Path) -> str:
    """Why a file with a final name is not whole, empty if it is."""
    data = path.read_bytes()
    endings: dict[str, Callable[[], bool]] = {
        ".html": lambda: data.rstrip().endswith(b"</html>"),
        ".json": lambda: isinstance(json.loads(data), dict),
        ".stl": lambda: read_part(path).soundness.closed,
        ".ply": lambda: len(trimesh.load(path, process=False).vertices) > 0,
        ".glb": lambda: int(np.frombuffer(data[8:12], "<u4")[0]) == len(data),
        ".csv": lambda: data.endswith(b"\n"),
    }
    try:
        return "" if endings[path.suffix]() else "half a file"
    except (ValueError, KeyError, OSError) as error:
        return f"half a file, or none of ours ({error})"


def kill_all(
    count: int, seed: int, folder: Path, at_a_step: float = AT_A_STEP
) -> tuple[Counter[str], list[str]]:
    """Kill ``count`` runs in a folder; how they ended, and all that was wrong."""
    rng = random.Random(seed)
    box = folder / "box.stl"
    box.write_bytes(stl_bytes(trimesh.creation.box((30, 20, 5)), "box"))
    inputs = {box.name: hashlib.sha256(box.read_bytes()).hexdigest()}
    sheets = {path: path.read_bytes() for path in SHEETS}
    ends: Counter[str] = Counter()
    wrong: list[str] = []
    rows: set[str] = set()
    for number in range(count):
        every = commands(folder, rng)
        name = list(every)[number % len(every)]
        end = run_killed(every[name], rng, at_a_step)
        ends[f"{name}: {end}"] += 1
        wrong += [f"run {number}, {name}, {end}: {text}" for text in faults(folder, inputs, rows)]
        if what_does_not_match(job_paths(folder, "box")):
            ends["reports beside an older green part, told"] += 1
    wrong += [
        f"{path.name} was changed" for path, was in sheets.items() if path.read_bytes() != was
    ]
    return ends, wrong


def do_not_work(seed: int, folder: Path) -> list[str]:
    """Commands that do not run to their end in a folder where others were killed."""
    failed = []
    for argv in commands(folder, random.Random(seed)).values():
        child = os.fork()
        if child == 0:
            _be_quiet()
            os._exit(main(argv))
        if os.waitpid(child, 0)[1]:
            failed.append(f"after all kills {argv[0]} does not work")
    return failed


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--at-a-step", type=float, default=AT_A_STEP, help="share of the kills")
    parser.add_argument("--kills-only", action="store_true", help="no whole runs after the kills")
    asked = parser.parse_args()
    import shrinkrule.calibration.fit.fit_sheets
    import shrinkrule.coupon.output
    import shrinkrule.job.run
    import shrinkrule.report.fit.outputs
    import shrinkrule.report.html
    import shrinkrule.walls.check  # noqa: F401

    with tempfile.TemporaryDirectory() as scratch:
        found, all_wrong = kill_all(asked.count, asked.seed, Path(scratch), asked.at_a_step)
        if not asked.kills_only:
            all_wrong += do_not_work(asked.seed, Path(scratch))
    for what, times in sorted(found.items()):
        print(f"{times:5d}  {what}")
    print("\n".join(all_wrong) or "nothing was wrong")
    sys.exit(bool(all_wrong))
