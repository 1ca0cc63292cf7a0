"""Pipes, folders and devices given as any file that is read: refused, and not waited for."""

from __future__ import annotations

import os
import socket
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from shrinkrule import read_part
from shrinkrule.calibration.sheets.load import read_load
from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.calibration.table.read import read_table
from shrinkrule.calibration.table.update import table_bytes
from shrinkrule.cli.many_parts import models_in
from shrinkrule.dimensions.limits import read_limits
from shrinkrule.errors import FileError, ShrinkruleError
from shrinkrule.files.checksum import checksum_of, sha256_of
from shrinkrule.files.output import OutputSet
from shrinkrule.files.plain import plain_bytes
from shrinkrule.history.made import read_report
from shrinkrule.history.store import append_to_history, history_path, read_history
from shrinkrule.settings.toml_files import read_settings

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="other devices there")

READERS: dict[str, Callable[[Path], object]] = {
    "part": read_part,
    "sheet": read_sheet,
    "load": read_load,
    "table": read_table,
    "table to change": table_bytes,
    "limits": lambda path: read_limits(path, ()),
    "report": read_report,
    "settings": read_settings,
    "checksum": sha256_of,
}


@pytest.mark.parametrize("reader", READERS)
def test_what_is_no_file_is_refused_by_every_reader(reader: str, tmp_path: Path) -> None:
    read = READERS[reader]
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "endless").symlink_to("/dev/zero")
    with socket.socket(socket.AF_UNIX) as held:
        held.bind(str(tmp_path / "socket"))
        for name in ("pipe", "endless", "socket"):
            with pytest.raises(ShrinkruleError, match=f"{name}: this is a device or a pipe"):
                read(tmp_path / name)
    with pytest.raises(ShrinkruleError, match="this is a folder"):
        read(tmp_path)
    assert checksum_of(tmp_path / "pipe") == ""


def test_a_history_that_is_a_pipe_is_neither_read_nor_written(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    os.mkfifo(history_path(table))
    for use in (read_history, lambda path: append_to_history(path, {"entry": "made"})):
        with pytest.raises(FileError, match=r"history\.jsonl: this is a device or a pipe"):
            use(table)


def test_a_file_that_is_too_large_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "large.csv"
    with path.open("wb") as stream:
        stream.truncate(11_000_000)
    with pytest.raises(ShrinkruleError, match="11 MB, a table under 10"):
        read_table(path)
    assert len(plain_bytes(path, 12)) == 11_000_000


def test_a_link_that_leads_to_itself_is_refused(tmp_path: Path) -> None:
    loop = tmp_path / "loop.stl"
    loop.symlink_to(loop)
    for read in READERS.values():
        if read is not table_bytes:
            with pytest.raises(ShrinkruleError, match="Too many levels of symbolic links"):
                read(loop)
    (tmp_path / "sound.csv").write_bytes(b"x")
    outputs = OutputSet([loop])
    outputs.add(tmp_path / "sound.csv", b"y")
    with pytest.raises(FileError, match="overwrite an input"):
        outputs.add(loop, b"y")
    assert models_in([loop]) == (loop,)
    assert history_path(loop).parent == tmp_path
