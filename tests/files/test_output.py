"""Files come out all or none, and never over an input."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from shrinkrule.errors import FileError
from shrinkrule.files import OutputSet


def test_all_files_are_written_together(tmp_path: Path) -> None:
    outputs = OutputSet()
    outputs.add(tmp_path / "a.txt", b"a")
    outputs.add(tmp_path / "b.txt", b"b")
    outputs.write()
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a.txt": b"a", "b.txt": b"b"}


def test_a_full_disk_leaves_everything_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.txt").write_bytes(b"old")
    calls = iter([None, OSError(28, "No space left on device")])

    def sync(_: int) -> None:
        if isinstance(trouble := next(calls), OSError):
            raise trouble

    monkeypatch.setattr(os, "fsync", sync)
    outputs = OutputSet()
    outputs.add(tmp_path / "a.txt", b"new")
    outputs.add(tmp_path / "b.txt", b"new")
    with pytest.raises(FileError, match="No space left"):
        outputs.write()
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a.txt": b"old"}


def test_an_input_is_never_overwritten(tmp_path: Path) -> None:
    model = tmp_path / "part.stl"
    model.write_bytes(b"model")
    link = tmp_path / "link.stl"
    link.symlink_to(model)
    for name in (model, link, tmp_path / "." / "part.stl"):
        with pytest.raises(FileError, match="overwrite an input"):
            OutputSet([model]).add(name, b"new")
    assert model.read_bytes() == b"model"


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such folder"):
        OutputSet().add(tmp_path / "none" / "a.txt", b"")
    with pytest.raises(FileError, match="this is a folder"):
        OutputSet().add(tmp_path, b"")


def test_a_name_too_long_for_a_file_is_refused(tmp_path: Path) -> None:
    longest = tmp_path / ("n" * 255)
    outputs = OutputSet()
    outputs.add(longest, b"fits")
    outputs.write()
    assert longest.read_bytes() == b"fits"
    with pytest.raises(FileError, match="a name of 256 bytes is too long"):
        OutputSet().add(tmp_path / ("ä" * 128), b"")


def test_what_a_killed_run_left_is_taken_away_later(tmp_path: Path) -> None:
    old, fresh = tmp_path / ".shrinkrule-a.part", tmp_path / ".shrinkrule-b.part"
    for path, age in ((old, 7200), (fresh, 60)):
        path.write_bytes(b"half")
        os.utime(path, (time.time() - age,) * 2)
    outputs = OutputSet()
    outputs.add(tmp_path / "a.txt", b"a")
    outputs.write()
    assert {p.name for p in tmp_path.iterdir()} == {"a.txt", fresh.name}


def test_a_folder_that_vanishes_is_named_and_nothing_is_left(tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    outputs = OutputSet()
    outputs.add(folder / "a.txt", b"a")
    folder.rmdir()
    with pytest.raises(FileError, match=r"a\.txt: cannot be written .*; nothing was changed"):
        outputs.write()
