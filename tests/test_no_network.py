"""No command speaks to a network: every attempt, in child processes too, would end the process."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

SAMPLES = Path(__file__).parents[1] / "sample_models"
SHEETS = [str(path) for path in sorted((SAMPLES / "sheets").glob("*.csv"))]
FOUND = 99

# Python reads a module of this name when it starts, so child processes are watched as well.
WATCH = f"""
import os, sys
def watch(event, arguments):
    if event.startswith("socket.") and event not in ("socket.__new__", "socket.gethostname"):
        sys.stderr.write("network: " + event)
        sys.stderr.flush()
        os._exit({FOUND})
sys.addaudithook(watch)
"""


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    (folder / "sitecustomize.py").write_text(WATCH, encoding="utf-8")
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder)},
        capture_output=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )


@pytest.mark.parametrize(
    "attempt", ["s.create_connection(('127.0.0.1', 9))", "s.getaddrinfo('localhost', 80)"]
)
def test_the_watch_sees_an_attempt(tmp_path: Path, attempt: str) -> None:
    assert run(tmp_path, "-c", f"import socket as s; {attempt}").returncode == FOUND


@pytest.mark.parametrize(
    "command",
    [
        ["compensate", str(SAMPLES / "lever_arm.stl"), "--demo-table"],
        ["walls", str(SAMPLES / "thin_cup.stl")],
        ["coupon", "--box", "80x60x50"],
        ["calibrate", *SHEETS, "--table", "table.csv", "--yes"],
        ["rows"],
    ],
    ids=lambda command: command[0],
)
def test_no_command_opens_a_connection(tmp_path: Path, command: list[str]) -> None:
    done = run(
        tmp_path, "-c", f"import sys; from shrinkrule.cli import main; sys.exit(main({command!r}))"
    )
    assert "network:" not in done.stderr
    assert done.returncode == 0, done.stderr
