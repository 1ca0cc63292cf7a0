"""Files come out all or none, and never over an input."""

from __future__ import annotations

import os
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
