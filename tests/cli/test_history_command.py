"""What compensate leaves in the history, and how it is found again."""

from __future__ import annotations

import errno
import json
import math
import shutil
from pathlib import Path

import pytest
from scipy import stats

from dimensions.solids import box, mesh_of
from shrinkrule import demo_table, find_row, stl_bytes, table_csv
from shrinkrule.cli import main
from shrinkrule.files.checksum import sha256_of
from shrinkrule.history.store import append_to_history, read_history

MAKE = ["compensate", "block.stl", "--table", "table.csv", "--row", "bronze demo batch 90"]


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    solid = mesh_of(box((20.0, 12.0, 8.0)))
    (tmp_path / "block.stl").write_bytes(stl_bytes(solid, "block"))
    (tmp_path / "table.csv").write_text(table_csv(demo_table()), encoding="utf-8")
    return tmp_path


def test_a_part_that_is_made_stands_in_the_history(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*MAKE, "--no-sag"]) == 0
    (entry,) = read_history(in_folder / "table.csv").entries
    assert entry["row"] == "bronze demo batch 90"
    for kind, name in (
        ("part", "block.stl"),
        ("green", "block.green.stl"),
        ("report", "block.report.json"),
    ):
        assert entry[kind] == {"file": name, "sha256": sha256_of(in_folder / name)}
    report = json.loads((in_folder / "block.report.json").read_text(encoding="utf-8"))
    # What was predicted is what the report says: three sides of a box, and its masses.
    assert entry["masses"]["fired_mass_g"] == report["prediction"]["fired_mass_g"]
    sizes = {one["size_mm"]: one["readings"][0]["fired_mm"] for one in entry["dimensions"][:3]}
    assert set(sizes) == {20.0, 12.0, 8.0}
    assert sizes[20.0]["value"] == pytest.approx(20.0, abs=1e-6)
    # The green part is found under another name.
    capsys.readouterr()
    shutil.move("block.green.stl", "renamed.stl")
    assert main(["history", "--table", "table.csv", "--of", "renamed.stl"]) == 0
    shown = capsys.readouterr().out
    assert "block.stl" in shown
    assert max(map(len, shown.splitlines())) <= 80
    (in_folder / "block.stl").write_bytes(b"changed")
    assert main(["history", "--table", "table.csv", "--of", "block.stl"]) == 2
    assert "knows no file of these contents" in capsys.readouterr().err


def test_it_can_be_left_out_and_the_demo_table_has_none(in_folder: Path) -> None:
    assert main([*MAKE, "--no-sag", "--no-history"]) == 0
    assert main(["compensate", "block.stl", "--demo-table", "--no-sag", "--force"]) == 0
    assert not list(in_folder.glob("*.history.jsonl"))


def test_a_screen_that_is_full_or_closed_costs_no_entry(
    in_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The part is made and the sheet was reviewed, whatever can be shown of it."""

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("shrinkrule.report.show_job", full)
    monkeypatch.setattr("shrinkrule.report.parts.review.show_reviews", full)
    assert main([*MAKE, "--no-sag"]) == 2
    shutil.copy(Path(__file__).parents[1] / "fuzz_seeds" / "load" / "block.csv", "load.csv")
    assert main(["review", "load.csv", "--table", "table.csv"]) == 2
    assert capsys.readouterr().err.count("the text for the screen cannot be written") == 2
    entries = read_history(in_folder / "table.csv").entries
    assert [entry["entry"] for entry in entries] == ["made", "reviewed"]


def test_a_history_that_cannot_be_written_stops_no_part(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (in_folder / "table.history.jsonl").mkdir()
    assert main([*MAKE, "--no-sag"]) == 0
    assert "not in the history: " in capsys.readouterr().err
    assert (in_folder / "block.green.stl").exists()


def test_a_page_shows_the_firings_and_what_happened(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ten firings on which Z shrinks by three deviations more; a name that is no markup."""
    row = find_row(demo_table(), "bronze demo batch 90", "demo table")
    sd = row.along("z").scatter.between
    entries = [
        {
            "entry": "reviewed",
            "at": "2026-11-02T10:00:00+00:00",
            "row": row.name,
            "firing": str(n),
            "date": f"2026-11-{n:02d}",
            "letter": "A",
            "green": {"sha256": "0" * 64},
            "part": {"file": "<b>lever</b>"},
            "said": "within scatter",
            "shrinkage": {"xy": row.shrinkage_xy.value, "z": row.shrinkage_z.value + 3.0 * sd},
        }
        for n in range(1, 11)
    ]
    append_to_history(Path("table.csv"), *entries)
    assert main(["history", "--table", "table.csv", "--page"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "XY: 10 firings, no drift" in shown
    # 0.75, 1.31, ... standard deviations: the first beyond the limit of a row of few firings.
    scatter = row.along("z").scatter
    width = stats.t.isf(stats.norm.sf(2.998), scatter.dof)
    limit = width * math.hypot(math.sqrt(0.25 / 1.75), scatter.mean_u / sd)
    first = next(n for n in range(1, 11) if 3.0 * (1.0 - 0.75**n) > limit)
    assert first > 2
    assert f"Z shrinks by +0.91 points since firing {first}:" in shown
    page = (in_folder / "table.history.html").read_text(encoding="utf-8")
    assert page.count('<circle class="point') == 20
    assert "&lt;b&gt;lever" in page
    assert "<b>lever" not in page
    assert f"{100 * row.shrinkage_z.value:.2f} %" in page


def test_without_a_table_there_is_no_history(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["history"]) == 2
    assert "no calibration table is named" in capsys.readouterr().err
    assert main(["history", "--table", "table.csv", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["entries"] == []
