"""Screen, errors and input that are closed or full: the work is done, a refusal keeps its code.

Each run is a process of its own, started by a shell that closes what is asked.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
import trimesh

from shrinkrule import stl_bytes

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="closed by a POSIX shell")


def run_in(folder: Path, arguments: str, streams: str) -> subprocess.CompletedProcess[str]:
    (folder / "box.stl").write_bytes(stl_bytes(trimesh.creation.box((30, 20, 5)), "box"))
    line = f'"{sys.executable}" -m shrinkrule {arguments} {streams}'
    return subprocess.run(
        ["/bin/sh", "-c", line], cwd=folder, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize("streams", [">&-", "<&- >&- 2>&-"])
def test_with_closed_streams_the_file_is_written_and_whole(streams: str, tmp_path: Path) -> None:
    done = run_in(tmp_path, "dimensions box.stl", streams)
    assert (done.returncode, done.stderr) == (0, "")
    lines = (tmp_path / "box.dimensions.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 4
    assert lines[0].startswith("number,kind")


def test_with_errors_closed_a_refusal_keeps_its_code(tmp_path: Path) -> None:
    assert run_in(tmp_path, "dimensions none.stl", "2>&-").returncode == 2


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device")
def test_a_full_disk_behind_the_screen_is_said_in_one_line(tmp_path: Path) -> None:
    done = run_in(tmp_path, "dimensions box.stl", ">/dev/full")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "the text for the screen cannot be written (No space left" in done.stderr
    assert "written and whole: box.dimensions.csv" in done.stderr
    assert run_in(tmp_path, "dimensions none.stl", "2>/dev/full").returncode == 2


def test_a_folder_that_was_deleted_under_the_command_is_said(tmp_path: Path) -> None:
    line = f'mkdir d; cd d; rmdir ../d; "{sys.executable}" -P -m shrinkrule rows'
    done = subprocess.run(
        ["/bin/sh", "-c", line], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "the folder that this runs in is gone: go to another one" in done.stderr


def test_a_screen_of_few_letters_or_no_width_is_written_to(tmp_path: Path) -> None:
    (tmp_path / "plåt.stl").write_bytes(stl_bytes(trimesh.creation.box((30, 20, 5)), "box"))
    whole = f'COLUMNS=0 PYTHONIOENCODING=ascii "{sys.executable}" -m shrinkrule dimensions plåt.stl'
    done = subprocess.run(
        ["/bin/sh", "-c", whole], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "pl?t.stl: 3 dimensions" in done.stdout
    assert "30.000" in done.stdout
