"""Commands that are killed leave whole files or none; docs/results-faults.md has the long run."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "benchmarks" / "kills.py"


@pytest.mark.skipif(sys.platform == "win32", reason="processes are another matter there")
def test_a_few_kills_leave_nothing_half() -> None:
    """One kill of each command, in a process of its own that loads the program once."""
    done = subprocess.run(
        [sys.executable, str(SCRIPT), "--count", "4", "--at-a-step", "1", "--kills-only"],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "nothing was wrong" in done.stdout
    assert done.stdout.count("killed at a") >= 3
