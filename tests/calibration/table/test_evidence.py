"""A row names the sheets that it was fitted from, and finds them again only as they were."""

from __future__ import annotations

import hashlib
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from shrinkrule.calibration import (
    Evidence,
    demo_table,
    evidence_files,
    evidence_of,
    read_table,
    table_csv,
)
from shrinkrule.calibration.table.evidence import evidence_text, parsed_evidence
from shrinkrule.errors import TableError

NAMES = ("firing1.csv", "sheets/firing 2; hot.csv", "ümlaut sha256:x.csv")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "sheets").mkdir()
    for number, name in enumerate(NAMES):
        (tmp_path / name).write_text(f"sheet {number}", encoding="utf-8")
    return tmp_path


def test_the_checksum_is_that_of_the_system(folder: Path) -> None:
    """Held to coreutils' sha256sum where it is there, else to the standard library."""
    (found,) = evidence_of([folder / NAMES[0]], folder)
    try:
        out = subprocess.run(
            ["sha256sum", folder / NAMES[0]], capture_output=True, check=True, text=True
        )
        expected = out.stdout.split()[0]
    except FileNotFoundError:  # pragma: no cover - another system
        expected = hashlib.sha256(b"sheet 0").hexdigest()
    assert found == Evidence("firing1.csv", expected)


def test_it_goes_through_the_table(folder: Path) -> None:
    evidence = evidence_of([folder / name for name in NAMES], folder)
    assert [one.file for one in evidence] == list(NAMES)
    assert parsed_evidence(evidence_text(evidence)) == evidence
    row = replace(demo_table()[0], evidence=evidence, left_out=("X3", "2:X4"))
    path = folder / "table.csv"
    path.write_text(table_csv((row,)), encoding="utf-8", newline="")
    (read,) = read_table(path)
    assert (read.evidence, read.left_out) == (evidence, ("X3", "2:X4"))


def test_names_start_from_the_folder_of_the_table(folder: Path) -> None:
    """So that sheets and table can be moved together."""
    table = folder / "tables"
    table.mkdir()
    (one,) = evidence = evidence_of([folder / NAMES[1]], table)
    assert one.file == "../sheets/firing 2; hot.csv"
    (there,) = evidence_files(evidence, "a", table)
    assert there.resolve() == (folder / NAMES[1]).resolve()


def test_a_sheet_that_changed_or_went_is_refused(folder: Path) -> None:
    evidence = evidence_of([folder / name for name in NAMES[:2]], folder)
    (folder / NAMES[1]).write_text("sheet 1.", encoding="utf-8")
    with pytest.raises(TableError, match=r"firing 2; hot\.csv has changed since row 'a'"):
        evidence_files(evidence, "a", folder)
    (folder / NAMES[0]).unlink()
    with pytest.raises(TableError, match=r"firing1\.csv: no such file"):
        evidence_files(evidence, "a", folder)
    with pytest.raises(TableError, match="row 'a' does not name the sheets"):
        evidence_files((), "a", folder)


@pytest.mark.parametrize(
    "text", ["a.csv", "a.csv sha256:12", f"a.csv sha256:{'0' * 64}; ", f"x; a sha256:{'0' * 63}g"]
)
def test_what_is_no_evidence_is_refused_with_its_cell(folder: Path, text: str) -> None:
    row = replace(demo_table()[0], left_out=("X3",), evidence=(Evidence("a", "0" * 64),))
    path = folder / "table.csv"
    whole = table_csv((row,))
    assert f"a sha256:{'0' * 64}" in whole
    path.write_text(whole.replace(f"a sha256:{'0' * 64}", text), encoding="utf-8", newline="")
    with pytest.raises(TableError, match=r"line 2, column 'evidence'"):
        read_table(path)
