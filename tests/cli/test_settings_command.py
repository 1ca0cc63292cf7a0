"""``shrinkrule.toml`` through the commands, and ``shrinkrule settings`` itself."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
import trimesh

from shrinkrule import demo_table, stl_bytes, table_csv
from shrinkrule.cli import main
from shrinkrule.files import OutputSet

STATED = """[printer]
nozzle = 0.4
layer_height = 0.1
[calibration]
table = "table.csv"
row = "steel demo batch 92"
[furnace]
crucible = "90x60"
[limits]
coupon_section = 9
"""


ROWS = tuple(
    replace(row, nozzle_mm=None, bead_width_mm=None, layer_height_mm=None) for row in demo_table()
)
"""Rows that do not state what their coupons were printed with."""


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    outputs = OutputSet()
    outputs.add(tmp_path / "box.stl", stl_bytes(trimesh.creation.box((30, 20, 5)), "box"))
    outputs.add(tmp_path / "table.csv", table_csv(ROWS).encode())
    outputs.add(tmp_path / "shrinkrule.toml", STATED.encode())
    outputs.write()
    return tmp_path


def test_what_is_stated_once_reaches_the_part_and_its_report(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = in_folder / "out"
    out.mkdir()
    assert main(["compensate", "box.stl", "--out", "out", "--layer-height", "0.2"]) == 0
    report = json.loads((out / "box.report.json").read_text())
    assert report["calibration"]["row"]["name"] == "steel demo batch 92"
    assert report["walls"]["printer"] == pytest.approx(
        {"nozzle_mm": 0.4, "bead_width_mm": 0.44, "layer_height_mm": 0.2}, rel=1e-12
    )
    assert report["furnace"]["inside"].startswith("crucible 90 mm")
    told = {setting["key"]: setting for setting in report["settings"]}
    assert told["printer.layer_height"]["place"] == "--layer-height"
    assert told["printer.nozzle"]["place"].endswith("shrinkrule.toml, line 2")
    shown = capsys.readouterr().out
    # The row's coupon was measured; the file says another.
    section = report["calibration"]["row"]["thickest_section_mm"]
    assert section is not None
    assert "the row holds" in " ".join(shown.split())
    # A path is not broken into lines, so that it can be copied.
    wide = [line for line in shown.splitlines() if "shrinkrule.toml" not in line]
    assert max(len(line) for line in wide) <= 80
    assert f" in {in_folder / 'shrinkrule.toml'}, line " in shown


def test_a_table_for_trying_or_factors_by_hand_leave_the_stated_table(in_folder: Path) -> None:
    assert main(["compensate", "box.stl", "--scale-xy", "1.2", "--scale-z", "1.25"]) == 0
    report = json.loads((in_folder / "box.report.json").read_text())
    assert report["calibration"] is None
    assert report["oversize"]["x"] == pytest.approx(1.2, rel=1e-12)
    told = {setting["key"]: setting["value"] for setting in report["settings"]}
    assert told["calibration.table"] is None


def test_a_wrong_key_is_one_line(in_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (in_folder / "shrinkrule.toml").write_text("[printer]\nnozle = 0.6\n")
    for command in (["compensate", "box.stl"], ["walls", "box.stl"], ["settings"], ["coupon",
                    "--box", "80x60x50"]):  # fmt: skip
        assert main(command) == 2
        error = capsys.readouterr().err
        assert "line 2: [printer] has no key 'nozle'; write nozzle." in error
        assert error.count("\n") == 1


def test_settings_shows_what_holds_and_where_it_comes_from(
    in_folder: Path, capsys: pytest.CaptureFixture[str], no_settings_of_the_user: Path
) -> None:
    own = no_settings_of_the_user / "shrinkrule"
    own.mkdir()
    (own / "shrinkrule.toml").write_text("[filament]\nprice = 95\n[printer]\nnozzle = 0.8\n")
    assert main(["settings", "box.stl"]) == 0
    shown = capsys.readouterr().out
    lines = {line.split()[0]: " ".join(line.split()[1:]) for line in shown.splitlines() if line}
    assert lines["printer.nozzle"] == "0.4 mm file 1, line 2"
    assert lines["printer.bead_width"] == "0.44 mm built in, 1.1 nozzles"
    assert lines["filament.price"] == "95 per kg file 2, line 2"
    assert lines["filament.density"] == "not stated"
    assert f"file 1: {in_folder / 'shrinkrule.toml'}\n" in shown, "a path is not wrapped"
    assert f"file 2: {own / 'shrinkrule.toml'}\n" in shown
    assert main(["settings", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["files"] == [str(in_folder / "shrinkrule.toml"), str(own / "shrinkrule.toml")]
    (nozzle,) = [s for s in told["settings"] if s["key"] == "printer.nozzle"]
    assert (nozzle["value"], nozzle["source"]) == (0.4, "file")
    assert any("the row holds" in remark for remark in told["remarks"])


def test_settings_are_written_and_not_overwritten(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sub = in_folder / "sub"
    sub.mkdir()
    assert main(["settings", "sub", "--write"]) == 0
    assert "nozzle = 0.4\n" in (sub / "shrinkrule.toml").read_text()
    assert 'table = "../table.csv"\n' in (sub / "shrinkrule.toml").read_text()
    assert main(["settings", "sub", "--write"]) == 2
    assert "this file is there already" in capsys.readouterr().err
    assert main(["settings", "sub", "--write", "--force"]) == 0
    assert main(["settings", "--write", "--user"]) == 0
    assert main(["settings", "nowhere"]) == 2


def test_a_stated_row_that_is_not_there_is_told(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (in_folder / "shrinkrule.toml").write_text('[calibration]\ntable = "none.csv"\n')
    assert main(["settings"]) == 0
    assert "none.csv: no such file" in capsys.readouterr().out.replace("\n", "")
    assert main(["compensate", "box.stl"]) == 2


def test_a_coupon_is_made_for_the_stated_furnace(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (in_folder / "shrinkrule.toml").write_text(
        '[furnace]\ncrucible = "120x80"\nballast_below = 10\n[printer]\nnozzle = 0.8\n'
    )
    assert main(["coupon", "--out", "."]) == 0
    shown = capsys.readouterr().out
    assert "nozzle 0.8 mm" in shown
    assert "10 mm of ballast below" in " ".join(shown.split())


def test_filament_stands_beneath_the_masses(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All of it is in the green part, so its mass is that one; 9 is no true density."""
    with (in_folder / "shrinkrule.toml").open("a") as file:
        file.write('[filament]\ndiameter = 1.75\ndensity = 9\nprice = 100\ncurrency = "EUR"\n')
    assert main(["compensate", "box.stl", "--verbose"]) == 0
    report = json.loads((in_folder / "box.report.json").read_text())
    mass = report["prediction"]["green_mass_g"]["value"]
    need = report["filament"]
    assert need["mass_g"]["value"] == pytest.approx(mass, rel=1e-12)
    per_metre = 9.0 * math.pi / 4.0 * 1.75**2
    assert need["length_m"]["value"] == pytest.approx(mass / per_metre, rel=1e-12)
    assert need["price"] == pytest.approx(0.1 * mass, rel=1e-12)
    shown = " ".join(capsys.readouterr().out.split())
    assert f"{0.1 * mass:.2f} EUR, without brim and purge" in shown
    assert "Filament: " in (in_folder / "box.report.html").read_text()


def test_rows_are_those_of_the_stated_table(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rows"]) == 0
    assert "Rows of table.csv" in capsys.readouterr().out


def test_a_file_of_the_working_folder_that_is_not_used_is_named(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Settings belong to the model's folder; who stands elsewhere is told so."""
    aside = in_folder.parent / "aside"
    aside.mkdir()
    (in_folder / "box.stl").rename(aside / "box.stl")
    assert main(["compensate", str(aside / "box.stl")]) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "this file is not used" in said
    assert str(in_folder / "shrinkrule.toml") in said
