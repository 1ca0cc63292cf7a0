"""The history: lines that stay, whoever writes at once, and files found by what is in them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from shrinkrule.errors import FileError
from shrinkrule.files.checksum import sha256_of
from shrinkrule.files.locks import held
from shrinkrule.history.store import append_to_history, history_path, read_history

ADDING = """
import sys
from pathlib import Path
from shrinkrule.history.store import append_to_history
print("ready", flush=True)
sys.stdin.readline()
for number in range(20):
    append_to_history(Path(sys.argv[1]), {"entry": "made", "who": sys.argv[2], "number": number})
"""


def test_a_checksum_is_that_of_the_standard(tmp_path: Path) -> None:
    """FIPS 180-4, example of one block: the message abc."""
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    assert sha256_of(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    with pytest.raises(FileError, match="no such file"):
        sha256_of(tmp_path / "none")


def test_entries_come_back_in_their_order(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    assert read_history(table).entries == ()
    append_to_history(table, {"entry": "made", "n": 1}, {"entry": "reviewed", "n": 2})
    append_to_history(table, {"entry": "made", "n": 3})
    read = read_history(table)
    assert [entry["n"] for entry in read.entries] == [1, 2, 3]
    assert [entry["n"] for entry in read.of_kind("made")] == [1, 3]
    assert read.path == tmp_path / "table.history.jsonl"


def test_a_damaged_line_loses_no_other(tmp_path: Path) -> None:
    """As a killed run or a full disk may leave it: half a line without its end."""
    table = tmp_path / "table.csv"
    append_to_history(table, {"entry": "made", "n": 1})
    with history_path(table).open("ab") as stream:
        stream.write(b'{"entry": "ma')
    append_to_history(table, {"entry": "made", "n": 2})
    read = read_history(table)
    assert [entry["n"] for entry in read.entries] == [1, 2]
    assert "line 2 could not be read" in read.notes[0]


def test_two_runs_at_once_lose_nothing(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", ADDING, str(table), who],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        for who in "ab"
    ]
    for run in runs:
        assert run.stdout is not None
        run.stdout.readline()
    for run in runs:
        run.communicate(b"go\n", timeout=60)
    entries = read_history(table).entries
    assert len(entries) == 40
    for who in "ab":
        assert [e["number"] for e in entries if e["who"] == who] == list(range(20))


def test_it_waits_for_whoever_holds_the_table(tmp_path: Path) -> None:
    """The lock is the table's own: a row and a line of the history are never written at once."""
    table = tmp_path / "table.csv"
    with held(table):
        run = subprocess.Popen(
            [sys.executable, "-c", ADDING, str(table), "a"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        assert run.stdout is not None
        run.stdout.readline()
        assert run.stdin is not None
        run.stdin.write(b"go\n")
        run.stdin.flush()
        with pytest.raises(subprocess.TimeoutExpired):
            run.wait(0.3)
        assert read_history(table).entries == ()
    run.communicate(timeout=60)
    assert len(read_history(table).entries) == 20


def test_entries_about_a_file_are_found_by_its_contents(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    one, other = (
        {"entry": "made", "part": {"file": "a.stl", "sha256": c * 64}, "evidence": []} for c in "ab"
    )
    review = {"entry": "reviewed", "sheets": [{"file": "x.csv", "sha256": "a" * 64}]}
    append_to_history(table, one, other, review)
    assert read_history(table).about("a" * 64) == (one, review)
    assert read_history(table).about("c" * 64) == ()


def test_lines_that_are_no_entries_are_passed_over(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    lines = ["[1]", '{"n": 1}', "[" * 100_000, json.dumps({"entry": "made"}), ""]
    history_path(table).write_text("\n".join(lines), encoding="utf-8")
    read = read_history(table)
    assert len(read.entries) == 1
    assert "line 1, 2, 3" in read.notes[0]
