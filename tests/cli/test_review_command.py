"""``shrinkrule review``: from a filled sheet to what is said, remembered and refused."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from shrinkrule.cli import main
from shrinkrule.files.checksum import sha256_of
from shrinkrule.history.store import read_history
from traveler.loads import ROW, fill, make_block

BANDS = re.compile(r"(green|fired) ([\d.]+) to ([\d.]+)")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with a block that was made, and its empty sheet."""
    folder = tmp_path_factory.mktemp("review")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("XDG_CONFIG_HOME", str(folder / "user"))
        make_block(folder)
        assert main(["traveler", "block.report.json"]) == 0
    return folder


@pytest.fixture
def sheet(made: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A copy of the sheet, in the current folder."""
    monkeypatch.chdir(made)
    monkeypatch.setenv("COLUMNS", "80")
    path = made / "filled.load.csv"
    path.write_bytes((made / "block.load.csv").read_bytes())
    yield path
    (made / "table.history.jsonl").unlink(missing_ok=True)


def middles(share: float = 0.0) -> Callable[[dict[str, str]], dict[str, str]]:
    """Readings in the middle of each band, fired ones larger by a share."""

    def cells(row: dict[str, str]) -> dict[str, str]:
        read = {"nominal": "firing 3"} if row["id"] == "S2" else {}
        for stage, low, high in BANDS.findall(row["note"]):
            size = 0.5 * (float(low) + float(high))
            if stage == "fired" and row["kind"] != "mass":
                size *= 1.0 + share
            read[f"{stage}_1"] = f"{size:.3f}"
        return read

    return cells


def test_a_sound_part_is_said_to_be_one(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fill(sheet, middles())
    assert main(["review", sheet.name, "--table", "table.csv"]) == 0
    shown = capsys.readouterr().out
    assert "within scatter" in shown
    assert max(map(len, shown.splitlines())) <= 80
    assert main(["review", sheet.name, "--table", "table.csv", "--fail-on-cause"]) == 0
    # Reviewed twice, remembered once; found by the green file and by the sheet.
    history = read_history(sheet.parent / "table.csv")
    (entry,) = history.of_kind("reviewed")
    assert entry["said"] == "within scatter"
    assert (entry["firing"], entry["row"]) == ("firing 3", ROW)
    assert entry in history.about(sha256_of(sheet))
    assert entry in history.about(sha256_of(sheet.with_name("block.green.stl")))


def test_a_part_that_was_fired_less_is_named(
    sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fill(sheet, middles(0.03))
    command = ["review", sheet.name, "--table", "table.csv", "--no-history", "--json"]
    assert main([*command, "--fail-on-cause"]) == 1
    (part,) = json.loads(capsys.readouterr().out)["parts"]
    assert "fired less than the row" in [one["cause"] for one in part["causes"]]
    assert part["outside"]
    assert part["shrunk_more"]["xy"]["value"] == pytest.approx(-0.03 * 0.8545, abs=2e-3)
    assert not (sheet.parent / "table.history.jsonl").exists()


def test_a_row_without_its_sheets_does_not_learn(
    sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fill(sheet, middles())
    before = (sheet.parent / "table.csv").read_bytes()
    assert main(["review", sheet.name, "--table", "table.csv", "--learn", "--yes"]) == 2
    assert "does not name the sheets it was fitted from" in capsys.readouterr().err
    assert (sheet.parent / "table.csv").read_bytes() == before


def test_what_cannot_be_reviewed_is_refused(
    sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["review", sheet.name, "--table", "table.csv"]) == 2
    assert "it holds no reading" in capsys.readouterr().err
    fill(sheet, middles())
    assert main(["review", sheet.name]) == 2
    assert "no calibration table is named" in capsys.readouterr().err
    assert main(["review", sheet.name, "--table", "table.csv", "--row", "nobody"]) == 2
    assert "nobody" in capsys.readouterr().err


def test_yes_does_not_let_a_faulty_part_teach(
    sheet: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shrinkrule.review.learn.evidence_files", lambda *_: ())
    monkeypatch.setattr("shrinkrule.review.learn.why_no_witness", lambda _: "")
    fill(sheet, middles(0.03))
    before = (sheet.parent / "table.csv").read_bytes()
    command = ["review", sheet.name, "--table", "table.csv", "--no-history", "--learn", "--yes"]
    assert main(command) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "no part on it can teach: A block" in said
    assert "its letter A" in said
    assert "(--learn-from LETTER)" in said
    assert main([*command, "--learn-from", "Q"]) == 2
    assert "no part has this letter" in capsys.readouterr().err
    assert (sheet.parent / "table.csv").read_bytes() == before


def test_a_cause_that_is_about_nothing_leaves_no_gap(
    sheet: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shrinkrule.review.judge._amount", lambda *_: "")
    fill(sheet, middles(0.03))
    assert main(["review", sheet.name, "--table", "table.csv", "--no-history"]) == 0
    shown = capsys.readouterr().out
    assert "times likelier" in shown
    assert ": ;" not in shown
