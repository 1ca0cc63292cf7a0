"""No command speaks to a network: every attempt, in child processes too, would end the process."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh
import typer

from shrinkrule import demo_table, stl_bytes, table_csv
from shrinkrule.cli.main import app

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
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), os.environ["PYTHONPATH"]])},
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


BY_ROW = ("--table", "table.csv", "--row", "bronze demo batch 90")
OF_PARTS = (
    ("compensate", "block.stl", "plate.stl", *BY_ROW, "--no-sag", "--crucible", "90x60"),
    ("traveler", "block.report.json", "plate.report.json"),
    ("walls", "block.green.stl"),
    ("dimensions", "block.stl"),
    ("ways-up", "plate.stl", *BY_ROW),
    ("review", "load.csv", "--table", "table.csv"),
    ("history", "--table", "table.csv", "--page"),
)
OF_ROWS = (
    ("coupon", "--box", "80x60x50", "--few-readings"),
    ("calibrate", *SHEETS[:1], "--table", "table.csv", "--yes"),
    ("rows", "table.csv"),
    ("settings", "--write"),
)


@pytest.mark.parametrize("commands", [OF_PARTS, OF_ROWS], ids=["parts", "rows"])
def test_no_command_opens_a_connection(
    tmp_path: Path, commands: tuple[tuple[str, ...], ...]
) -> None:
    """Every command; of two parts each is a child process of its own."""
    for name, height in (("block", 9.0), ("plate", 3.0)):
        solid = trimesh.creation.box((20.0, 12.0, height))
        (tmp_path / f"{name}.stl").write_bytes(stl_bytes(solid, name))
    (tmp_path / "table.csv").write_text(table_csv(demo_table()), encoding="utf-8")
    shutil.copy(Path(__file__).parent / "fuzz_seeds" / "load" / "block.csv", tmp_path / "load.csv")
    done = run(
        tmp_path,
        "-c",
        f"""
import sys
from shrinkrule.cli import main
for command in {commands!r}:
    if code := main(command):
        sys.exit(code)
""",
    )
    assert "network:" not in done.stderr
    assert done.returncode == 0, done.stderr


def test_every_command_is_watched() -> None:
    known = set(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
    assert {command for command, *_ in (*OF_PARTS, *OF_ROWS)} == known
