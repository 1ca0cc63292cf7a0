"""Files come out all or none, and never over an input."""

from __future__ import annotations

import itertools
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


def test_a_folder_is_made_and_taken_away_if_nothing_was_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "new" / "below" / "a.txt"
    outputs = OutputSet()
    outputs.add(path, b"a")
    assert list(tmp_path.iterdir()) == []
    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", full_disk)
        with pytest.raises(FileError, match="No space left"):
            outputs.write()
    assert list(tmp_path.iterdir()) == []
    outputs.write()
    assert path.read_bytes() == b"a"


def full_disk(_: int) -> None:
    raise OSError(28, "No space left on device")


def test_a_place_that_is_no_folder_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(FileError, match="file: this is no folder"):
        OutputSet().add(tmp_path / "file" / "below" / "a.txt", b"")
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


def test_a_clock_that_jumps_beside_a_run_that_writes_leaves_no_half_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A later run takes the first one's temporary file for an old one: the first says so."""
    first, second = OutputSet(), OutputSet()
    first.add(tmp_path / "a.txt", b"a")
    second.add(tmp_path / "b.txt", b"b")

    def meanwhile(*_: object) -> None:
        monkeypatch.undo()
        now = time.time()
        monkeypatch.setattr(time, "time", lambda: now + 86400.0)
        second.write()

    monkeypatch.setattr(first, "_require_unchanged", meanwhile)
    with pytest.raises(FileError, match=r"a\.txt: cannot be written .*nothing was changed"):
        first.write()
    assert [path.name for path in tmp_path.iterdir()] == ["b.txt"]


def test_a_clock_that_jumps_within_a_run_costs_it_no_file_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A small computer without a clock learns the time from the network while it writes."""
    outputs = OutputSet()
    for name in ("a.txt", "b.txt", "c.txt"):
        outputs.add(tmp_path / name, name.encode())
    monkeypatch.setattr(time, "time", itertools.count(time.time(), 1e9).__next__)
    outputs.write()
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        name: name.encode() for name in ("a.txt", "b.txt", "c.txt")
    }


def test_a_folder_that_vanishes_is_named_and_nothing_is_left(tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    outputs = OutputSet()
    outputs.add(folder / "a.txt", b"a")
    folder.rmdir()
    folder.write_bytes(b"something else")
    with pytest.raises(FileError, match=r"cannot be written .*; nothing was changed"):
        outputs.write()
    assert folder.read_bytes() == b"something else"
