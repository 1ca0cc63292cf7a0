"""Learning from a load of which one part is sound and one is not, from sheets to written row."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from cli.test_review_command import middles
from shrinkrule import CalibrationRow, read_table
from shrinkrule.cli import main
from traveler.loads import fill

MODELS = Path(__file__).parents[2] / "sample_models"
REVIEW = ["review", "two.load.csv", "--table", "table.csv", "--no-history", "--json"]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with a row that names its sheets, and a load of two levers: B is fired less."""
    folder = tmp_path_factory.mktemp("learning")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("XDG_CONFIG_HOME", str(folder / "user"))
        shutil.copytree(MODELS / "sheets", "sheets")
        sheets = [str(path) for path in sorted(Path("sheets").glob("*.csv"))]
        assert main(["calibrate", *sheets, "--table", "table.csv", "--row", "own", "--yes"]) == 0
        for name in ("first", "second"):
            shutil.copy(MODELS / "lever_arm.stl", f"{name}.stl")
            command = ["compensate", f"{name}.stl", "--table", "table.csv", "--row", "own"]
            assert main([*command, "--no-sag", "--no-history"]) == 0
        reports = ["first.report.json", "second.report.json"]
        assert main(["traveler", *reports, "--name", "two"]) == 0
        fill(Path("two.load.csv"), lambda row: middles(0.03 * row["id"].startswith("B"))(row))
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it, which is the current folder."""
    shutil.copytree(made, tmp_path / "shop")
    monkeypatch.chdir(tmp_path / "shop")
    return tmp_path / "shop"


def current(table: str = "table.csv") -> CalibrationRow:
    """The row that parts are made by."""
    (row,) = [row for row in read_table(table) if not row.replaced]
    return row


def test_yes_lets_the_sound_part_teach_and_leaves_the_faulty_one_out(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = current()
    assert main([*REVIEW, "--learn", "--yes", "--fail-on-cause"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert [part["said"] == "within scatter" for part in found["parts"]] == [True, False]
    (taught,), (left,) = found["learned"]["taught"], found["learned"]["not_taught"]
    assert taught.startswith("A first")
    assert left.startswith("B second")
    assert "by its letter B" in left
    after = current()
    assert (after.coupons, after.firings) == (before.coupons + 1, before.firings + 1)
    assert [row.replaced != "" for row in read_table("table.csv")] == [True, False]
    assert any("two.load.csv" in name for name in map(str, after.evidence))


def test_a_faulty_part_that_is_named_teaches_and_moves_the_row(folder: Path) -> None:
    before = current()
    assert main([*REVIEW, "--learn", "--yes", "--learn-from", "B"]) == 0
    after = current()
    # One more firing, of two parts; it came out larger, so the row shrinks less than it did.
    assert (after.coupons, after.firings) == (before.coupons + 2, before.firings + 1)
    assert after.shrinkage_xy.value < before.shrinkage_xy.value - 0.001
    assert after.parts_x is not None
    assert before.parts_x is not None
    assert after.parts_x.within > before.parts_x.within
    assert main([*REVIEW, "--learn", "--yes"]) == 2, "learned already"


def test_two_parts_of_a_firing_are_judged_together(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(REVIEW) == 0
    (firing,) = json.loads(capsys.readouterr().out)["firings"]
    assert (firing["firing"], firing["letters"]) == ("firing 3", ["A", "B"])
    assert [(one["cause"], one["about"]) for one in firing["causes"]][:1] == [
        ("one part shrank otherwise than the others", "part B")
    ]
    fill(Path("two.load.csv"), middles(0.03))
    assert main(REVIEW) == 0
    (firing,) = json.loads(capsys.readouterr().out)["firings"]
    assert firing["causes"][0]["cause"] == "fired less than the row"
    assert main([arg for arg in REVIEW if arg != "--json"]) == 0
    assert "firing firing 3, A, B together: fired less than the row" in capsys.readouterr().out
