"""Sag on the command line: pre-curved file, report, ranking, refusals."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
import trimesh

from sag.solids import bar, one_armed_lever, united
from shrinkrule import stl_bytes
from shrinkrule.cli import main

QUICK = ["--demo-table", "--sag", "--sag-detail", "6000"]


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def small_bridge() -> trimesh.Trimesh:
    """Two feet and a 16 mm span of 2 mm: it sags by some hundredths in the demo batch."""
    return united(
        bar((0, 0, 0), (4, 6, 8)), bar((20, 0, 0), (24, 6, 8)), bar((0, 0, 6), (24, 6, 8))
    )


def write(mesh: trimesh.Trimesh, name: str) -> None:
    Path(name).write_bytes(stl_bytes(mesh, name))


def test_green_part_is_the_precurved_one(capsys: pytest.CaptureFixture[str]) -> None:
    """Fired numerically, the green file is the wanted part plus the allowance, arched up."""
    write(small_bridge(), "bridge.stl")
    assert main(["compensate", "bridge.stl", *QUICK]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "pre-curved" in shown
    told = re.search(r"sags by ([\d.]+) mm \(([\d.]+) to ([\d.]+), 95 %\)", shown)
    assert told is not None
    value, low, high = told.groups()
    # Two digits of the uncertainty at most, and its limits to the same decimals.
    decimals = len(value.partition(".")[2])
    assert (float(value) - float(low)) * 10**decimals < 100
    assert len(low.partition(".")[2]) == len(high.partition(".")[2]) == decimals
    report = json.loads(Path("bridge.report.json").read_text())
    sag = report["sag"]
    assert sag["verdict"] == "saved"
    assert 0.02 < sag["largest_sag_mm"] < 0.2
    assert sag["largest_sag_mm"] != round(sag["largest_sag_mm"], 6)
    assert sag["remaining_mm"] < 0.02
    assert sag["furnace_up"] == [0.0, 0.0, 1.0]
    # The modulus of the demo batch is known to 12 %.
    assert sag["sag_u_from_modulus_mm"] == pytest.approx(0.12 * sag["largest_sag_mm"], rel=1e-6)

    green = trimesh.load("bridge.green.stl")
    assert green.is_watertight
    fired = np.asarray(green.vertices) * [0.8545, 0.8545, 0.84]
    assert fired[:, 2].min() == pytest.approx(0.0, abs=1e-6)
    middle = np.abs(fired[:, 0]) < 0.5
    ends = np.abs(fired[:, 0]) > 11.0
    arch = fired[middle, 2].max() - fired[ends, 2].max()
    assert arch == pytest.approx(sag["largest_sag_mm"], rel=0.25)

    page = Path("bridge.report.html").read_text()
    assert "Sag in the furnace" in page
    assert page.count("without allowance, seen") == 4
    assert page.count("with it, seen") == 4


def test_upside_down_in_the_furnace_nothing_sags(capsys: pytest.CaptureFixture[str]) -> None:
    write(small_bridge(), "bridge.stl")
    assert main(["compensate", "bridge.stl", *QUICK, "--furnace-up", "-z", "--json"]) == 0
    sag = json.loads(capsys.readouterr().out)["sag"]
    assert sag["verdict"] == "not needed"
    green = trimesh.load("bridge.green.stl")
    assert len(green.faces) == len(small_bridge().faces)


def test_a_tipping_part_is_done_but_for_its_sag_and_held_by_a_support(
    capsys: pytest.CaptureFixture[str],
) -> None:
    write(one_armed_lever(), "lever.stl")
    assert main(["compensate", "lever.stl", *QUICK, "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["sag"] is None
    assert "Sag is not known." in report["verdict"]["headline"]
    (sag,) = [check for check in report["verdict"]["checks"] if check["name"] == "sag"]
    assert sag["state"] == "look"
    assert "tips over" in sag["found"][0]["text"]
    assert sag["not_looked_at_because"] is None
    assert Path("lever.green.stl").exists()
    box = ["--support", "30,-3,17,40,3,18.2"]
    assert main(["compensate", "lever.stl", *QUICK, *box, "--json", "--force"]) == 0
    assert json.loads(capsys.readouterr().out)["sag"] is not None


def test_sag_is_looked_at_without_being_asked_and_left_out_when_asked(
    capsys: pytest.CaptureFixture[str],
) -> None:
    write(small_bridge(), "bridge.stl")
    assert main(["compensate", "bridge.stl", "--demo-table", "--no-sag", "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["sag_estimate"] is None
    assert "sag is not known" in report["verdict"]["headline"].lower()
    assert main(["compensate", "bridge.stl", "--demo-table"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    report = json.loads(Path("bridge.report.json").read_text())
    estimate = report["sag_estimate"]
    assert 0.02 < estimate["sag_mm"] < 0.2
    assert "not known" not in report["verdict"]["headline"]
    # A third of the half width of the most certain size, or a tenth, but no less than the
    # tolerance to which sag is taken off.
    halves = [size["fired_mm"]["half95"] for size in report["prediction"]["sizes"]]
    assert estimate["matters_over_mm"] == pytest.approx(
        max(0.02, min(0.1, *(half / 3 for half in halves)))
    )
    assert (estimate["sag_mm"] > estimate["matters_over_mm"]) is bool(estimate["ways"])
    assert ("--sag takes it off" in shown) is bool(estimate["ways"])
    assert main(["compensate", "bridge.stl", "--demo-table", "--sag", "--no-sag"]) == 2


def test_ways_up_are_ranked(capsys: pytest.CaptureFixture[str]) -> None:
    write(one_armed_lever(), "lever.stl")
    assert main(["ways-up", "lever.stl", "--demo-table", "--json"]) == 0
    ways = json.loads(capsys.readouterr().out)["ways"]
    assert {way["up"] for way in ways} == {"x", "-x", "y", "-y", "z", "-z"}
    assert ways[0]["stands"]
    upright = next(way for way in ways if way["up"] == "z")
    assert not upright["stands"]
    assert upright["sag_mm"] is None
    # What leaves nothing to do in print or furnace first; then sags, equal within 0.02 mm.
    keys = [
        (
            (way["sag_mm"] > 0.1) + (way["unheld_print_mm2"] > 0 or way["starts_in_air"] > 0),
            round(way["sag_mm"] / 0.02),
        )
        for way in ways
        if way["stands"]
    ]
    assert keys == sorted(keys)
    assert upright["unheld_print_mm2"] > 100.0
    assert main(["ways-up", "lever.stl", "--demo-table", "--crucible", "400x400"]) == 0
    shown = capsys.readouterr().out
    assert f"--furnace-up {ways[0]['up']}" in shown
    assert "fits" in shown
    page = Path("lever.ways-up.html").read_text()
    assert page.count("<img") == 12
    assert shown.count("1.190") == 6  # each way up has one axis that shrinks as Z does
    assert max(len(line) for line in shown.splitlines()) <= 80


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (["--scale-xy", "1.17", "--scale-z", "1.2", "--sag"], "calibrated batch"),
        (["--demo-table", "--sag", "--support", "1,2,3"], "six numbers"),
        (["--demo-table", "--sag", "--furnace-up", "up"], "way up"),
        (["--demo-table", "--sag", "--sag-tolerance", "0"], "tolerance"),
    ],
)
def test_bad_options_are_told_in_one_line(
    options: list[str], word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    write(small_bridge(), "bridge.stl")
    assert main(["compensate", "bridge.stl", *options]) == 2
    error = capsys.readouterr().err
    assert word in error
    assert len(error.splitlines()) == 1
