"""A file that several runs add to: one at a time, nobody's rows lost."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from shrinkrule import read_table
from shrinkrule.calibration import demo_table
from shrinkrule.errors import FileError
from shrinkrule.files import OutputSet
from shrinkrule.files.locks import held
from shrinkrule.report.fit.outputs import write_with_row

ROW = demo_table()[0]
ADDING = """
import sys
from dataclasses import replace
from pathlib import Path
from shrinkrule.calibration import demo_table
from shrinkrule.files import OutputSet
from shrinkrule.report.fit.outputs import write_with_row

(row, *_), who = demo_table(), sys.argv[2]
print("ready", flush=True)
sys.stdin.readline()
for n in range(12):
    write_with_row(OutputSet(), Path(sys.argv[1]), replace(row, name=f"{who} {n}"))
"""


def test_rows_of_two_processes_at_once_are_all_kept(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", ADDING, str(table), who],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for who in ("left", "right")
    ]
    for run in runs:
        assert run.stdout is not None
        assert run.stdout.readline() == "ready\n"
    for run in runs:
        assert run.stdin is not None
        run.stdin.write("go\n")
        run.stdin.flush()
    for run in runs:
        run.communicate(timeout=60)
        assert run.returncode == 0
    names = {row.name for row in read_table(table)}
    assert names == {f"{who} {n}" for who in ("left", "right") for n in range(12)}
    assert {path.name for path in tmp_path.iterdir()} == {"table.csv", ".table.csv.lock"}


def test_a_table_that_is_held_is_waited_for_and_then_refused(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    with held(table), pytest.raises(FileError, match="another run has been writing"):  # noqa: SIM117
        with held(table, patience_s=0.05):
            pass
    with held(table, patience_s=0.05):
        pass


@pytest.mark.parametrize("mark", [".~lock.table.csv#", "~$table.csv"])
def test_a_table_open_in_a_spreadsheet_is_refused(tmp_path: Path, mark: str) -> None:
    (tmp_path / mark).write_bytes(b"")
    with pytest.raises(FileError, match="open in a spreadsheet"):
        write_with_row(OutputSet(), tmp_path / "table.csv", ROW)
    assert not (tmp_path / "table.csv").exists()


def test_a_change_between_reading_and_writing_is_kept_beside_the_new_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "table.csv"
    write_with_row(OutputSet(), table, ROW)
    saved = table.read_bytes() + b"# typed in a spreadsheet\r\n"
    write = OutputSet.write

    def late(outputs: OutputSet) -> tuple[Path, ...]:
        table.write_bytes(saved)
        return write(outputs)

    monkeypatch.setattr(OutputSet, "write", late)
    report = OutputSet()
    report.add(tmp_path / "report.html", b"new")
    with pytest.raises(FileError, match=r"another program changed it.*table\.kept\.csv"):
        write_with_row(report, table, replace(ROW, name="second"))
    assert table.read_bytes() == saved
    kept = [row.name for row in read_table(tmp_path / "table.kept.csv")]
    assert kept == [ROW.name, "second"]
    assert not (tmp_path / "report.html").exists()


def test_a_link_to_a_table_stays_one(tmp_path: Path) -> None:
    (tmp_path / "shared").mkdir()
    link, table = tmp_path / "table.csv", tmp_path / "shared" / "all.csv"
    link.symlink_to(table)
    for name in ("one", "two"):
        write_with_row(OutputSet(), link, replace(ROW, name=name))
    assert link.is_symlink()
    assert [row.name for row in read_table(table)] == ["one", "two"]


def test_permissions_of_a_table_stay(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    write_with_row(OutputSet(), table, ROW)
    table.chmod(0o640)
    write_with_row(OutputSet(), table, replace(ROW, name="two"))
    assert table.stat().st_mode & 0o777 == 0o640
