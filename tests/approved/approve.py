"""Approve what the jobs give now: `python tests/approved/approve.py [JOB...]`; read the diff."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1] / "src"), str(HERE.parents[1] / "benchmarks")]


def main() -> None:
    """Write the results of all jobs, or of those that are named."""
    from approved.flatten import flat, write_flat
    from approved.jobs import JOBS

    folder = HERE.resolve() / "results"
    names = sys.argv[1:] or sorted(JOBS)
    if not sys.argv[1:]:
        for path in folder.glob("*.json"):
            path.unlink()
    with tempfile.TemporaryDirectory() as user:
        # A user's own settings change what is approved.
        os.environ["XDG_CONFIG_HOME"] = user
        for name in names:
            with tempfile.TemporaryDirectory() as empty:
                os.chdir(empty)
                write_flat(folder / f"{name}.json", flat(JOBS[name]()))
                os.chdir(folder)


if __name__ == "__main__":
    main()
