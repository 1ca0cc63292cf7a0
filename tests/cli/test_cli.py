"""The command line as a maker uses it: exit codes, one-line errors, files on disk."""

from __future__ import annotations

import hashlib
import json
import os
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
import trimesh

from shrinkrule import stl_bytes
from shrinkrule.cli import main

SAMPLES = Path(__file__).parents[2] / "sample_models"


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def plain_box(folder: Path, name: str = "box.stl") -> Path:
    path = folder / name
    path.write_bytes(stl_bytes(trimesh.creation.box((30, 20, 5)), "box"))
    return path


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_the_main_job_writes_three_files(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    box = plain_box(in_folder)
    before = box.read_bytes()
    assert main(["compensate", "box.stl", "--demo-table"]) == 0
    assert names(in_folder) == {"box.stl", "box.green.stl", "box.report.json", "box.report.html"}
    assert box.read_bytes() == before
    green = trimesh.load(in_folder / "box.green.stl")
    assert green.extents == pytest.approx([30 / 0.8545, 20 / 0.8545, 5 / 0.84], rel=1e-6)
    assert b"shrinkrule green part of box" in (in_folder / "box.green.stl").read_bytes()[:80]
    shown = capsys.readouterr().out
    assert "Make it" in shown
    assert "35.11" in shown
    assert max(len(line) for line in shown.splitlines()) <= 80
    assert len(shown.splitlines()) <= 15


def test_the_report_says_which_print_it_was(in_folder: Path) -> None:
    """When, by which command, of which file, and with which settings from where."""
    box = plain_box(in_folder)
    (in_folder / "shrinkrule.toml").write_text('[printer]\nnozzle = 0.8\nbed = "99x98x97"\n')
    assert main(["compensate", "box.stl", "--demo-table", "--no-sag", "--thick-limit", "9"]) == 0
    report = json.loads((in_folder / "box.report.json").read_text())
    command = "shrinkrule compensate box.stl --demo-table --no-sag --thick-limit 9"
    checksum = hashlib.sha256(box.read_bytes()).hexdigest()
    assert report["command"] == command
    assert report["model"]["sha256"] == checksum
    page = (in_folder / "box.report.html").read_text()
    assert f"<td>command</td><td>{command}</td>" in page
    assert f"SHA-256 {checksum}" in page
    assert "settings, option</td><td>--thick-limit: limits thick limit 9 mm" in page
    (file,) = re.findall(r"settings, file</td><td>(.*?)</td>", page)
    assert file.startswith(f"{in_folder / 'shrinkrule.toml'}: ")
    assert "printer bed 99x98x97 mm (line 3)" in file
    assert "settings, built in</td><td>" in page


def test_the_json_report_holds_what_the_screen_says(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plain_box(in_folder)
    assert main(["compensate", "box.stl", "--demo-table", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    written = json.loads((in_folder / "box.report.json").read_text())
    printed.pop("created"), written.pop("created")
    assert printed == written
    assert (written["schema"], written["version"]) == ("shrinkrule.report", 1)
    assert written["prediction"]["sizes"][0]["wanted_mm"] == pytest.approx(30.0)
    assert written["prediction"]["sizes"][0]["fired_mm"]["half95"] > 0
    assert written["verdict"]["level"] == "make it"


class Loads(HTMLParser):
    """Collects whatever a page would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in {"src", "href"} and value and not value.startswith(("data:", "#")):
                self.fetched.append(value)


def test_the_html_report_fetches_nothing_and_says_what_matters(in_folder: Path) -> None:
    assert main(["compensate", str(SAMPLES / "thin_cup.stl"), "--demo-table"]) == 0
    page = (in_folder / "thin_cup.report.html").read_text()
    loads = Loads()
    loads.feed(page)
    assert loads.fetched == []
    assert page.count("data:image/png;base64,") >= 2
    assert "Do not make it as it is." in page
    assert "local codes" in page
    assert "INVENTED" in page


def test_names_are_escaped_in_the_page(in_folder: Path) -> None:
    plain_box(in_folder, "<b>box & co.stl")
    assert main(["compensate", "<b>box & co.stl", "--demo-table"]) == 0
    page = (in_folder / "<b>box & co.report.html").read_text()
    assert "<b>box" not in page
    assert "&lt;b&gt;box &amp; co.stl" in page


def test_fail_on_thin(in_folder: Path) -> None:
    """0.5 mm is 0.59 mm green: less than a bead of 0.66 mm, and more than one of 0.44 mm."""
    plate = trimesh.creation.box((9.0, 0.5, 6.0))
    (in_folder / "plate.stl").write_bytes(stl_bytes(plate, "plate"))
    command = ["compensate", "plate.stl", "--demo-table", "--no-sag"]
    assert main([*command, "--fail-on-thin"]) == 1
    assert main([*command, "--nozzle", "0.4", "--fail-on-thin", "--force"]) == 0
    assert main([*command, "--force"]) == 0
    assert main(["walls", "plate.stl", "--fail-on-thin"]) == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["compensate", "none.stl", "--demo-table"], "none.stl: no such file"),
        (["compensate", "box.stl"], "no shrinkage is known"),
        (["compensate", "box.stl", "--table", "none.csv"], "none.csv: no such file"),
        (["compensate", "box.stl", "--demo-table", "--row", "brass"], "no row is named 'brass'"),
        (["compensate", "box.stl", "--scale-xy", "1.2"], "both --scale-xy and --scale-z"),
        (["compensate", "box.stl", "--scale-xy", "0.84", "--scale-z", "0.8"], "1 / (1 - s)"),
        (
            ["compensate", "box.stl", "--demo-table", "--scale-xy", "1.2", "--scale-z", "1.2"],
            "cannot both hold",
        ),
        (["compensate", "box.stl", "--demo-table", "--density", "0.99"], "outside the calibrated"),
        (["compensate", "box.stl", "--demo-table", "--nozzle", "wide"], "'wide' is not a length"),
        (["compensate", "box.stl", "--demo-table", "--print-up", "q"], "no way up"),
        (["compensate", "box.stl", "--demo-table", "--unit", "ell"], "unknown length unit"),
        (["compensate", "box.stl", "--demo-table", "--out", "box.stl"], "this is no folder"),
        (["compensate", "box.stl", "--demo-table", "--name", "../box"], "no name for files"),
        (["walls", "."], "this is a folder"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(
    in_folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    plain_box(in_folder)
    assert main(arguments) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert names(in_folder) == {"box.stl"}


def test_the_folder_is_looked_at_before_the_work(
    in_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before the model is even read: here there is none."""
    (in_folder / "file").write_bytes(b"")
    assert main(["compensate", "none.stl", "--demo-table", "--out", "file/below"]) == 2
    assert "file: this is no folder" in capsys.readouterr().err
    (in_folder / "locked").mkdir()
    monkeypatch.setattr("os.access", lambda _, mode: not mode & os.W_OK)
    assert main(["compensate", "none.stl", "--demo-table", "--out", "locked"]) == 2
    assert "locked: nothing may be written here" in capsys.readouterr().err


def test_nothing_is_half_written_when_the_disk_is_full(
    in_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    plain_box(in_folder)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    assert main(["compensate", "box.stl", "--demo-table"]) == 2
    assert "No space left on device" in capsys.readouterr().err
    assert names(in_folder) == {"box.stl"}


def test_an_output_that_is_an_input_is_refused(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plain_box(in_folder)
    (in_folder / "box.green.stl").symlink_to(in_folder / "box.stl")
    before = (in_folder / "box.stl").read_bytes()
    assert main(["compensate", "box.stl", "--demo-table"]) == 2
    assert "overwrite an input" in capsys.readouterr().err
    assert (in_folder / "box.stl").read_bytes() == before


def test_an_open_model_is_refused_and_then_allowed(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    box = trimesh.creation.box((30, 20, 5))
    opened = trimesh.Trimesh(box.vertices, box.faces[:-1], process=False)
    (in_folder / "open.stl").write_bytes(stl_bytes(opened, "open"))
    assert main(["compensate", "open.stl", "--demo-table"]) == 2
    assert "--allow-open" in capsys.readouterr().err
    assert main(["compensate", "open.stl", "--demo-table", "--allow-open"]) == 0
    report = json.loads((in_folder / "open.report.json").read_text())
    assert report["verdict"]["level"] == "do not make it"
    assert report["prediction"]["green_volume_mm3"] is None
    assert main(["walls", "open.stl"]) == 0


def test_overlapping_bodies_are_refused_and_then_united(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    second = trimesh.creation.box((30, 20, 5)).apply_translation((10, 0, 0))
    both = trimesh.util.concatenate([trimesh.creation.box((30, 20, 5)), second])
    (in_folder / "two.stl").write_bytes(stl_bytes(both, "two"))
    assert main(["compensate", "two.stl", "--demo-table"]) == 2
    assert "--unite" in capsys.readouterr().err
    assert main(["compensate", "two.stl", "--demo-table", "--unite", "--keep-bodies"]) == 2
    assert "leave out --unite or --keep-bodies" in capsys.readouterr().err
    assert main(["compensate", "two.stl", "--demo-table", "--keep-bodies"]) == 0
    kept = json.loads(Path("two.report.json").read_text())
    assert kept["prediction"]["green_volume_mm3"] is None
    assert any("were kept" in reason["text"] for reason in kept["verdict"]["reasons"])
    assert main(["compensate", "two.stl", "--demo-table", "--unite", "--force"]) == 0


def test_density_between_rows_and_beyond_them(in_folder: Path) -> None:
    plain_box(in_folder)
    demo = ["compensate", "box.stl", "--demo-table"]
    assert main([*demo, "--density", "0.925"]) == 0
    between = json.loads((in_folder / "box.report.json").read_text())
    assert 1.1703 < between["oversize"]["xy"] < 1.1908
    assert main([*demo, "--density", "0.97", "--extrapolate", "--force"]) == 0
    beyond = json.loads((in_folder / "box.report.json").read_text())
    assert any("EXTRAPOLATED" in reason["text"] for reason in beyond["verdict"]["reasons"])


def test_rows_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rows"]) == 0
    shown = capsys.readouterr().out
    assert "bronze demo batch 90" in shown
    assert max(len(line) for line in shown.splitlines()) <= 80
    assert main(["rows", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)) == 6


@pytest.mark.parametrize("command", [[], ["compensate"], ["walls"], ["rows"], ["coupon"]])
def test_help_has_an_example(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*command, "--help"]) == 0
    assert "Example: shrinkrule" in capsys.readouterr().out


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("shrinkrule")


def test_an_unknown_option_is_exit_2() -> None:
    assert main(["compensate", "--colour", "red"]) == 2


def test_a_part_too_large_for_the_furnace_is_stopped(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The box is 35.1 x 23.4 x 6.0 mm green: 42.2 mm across its corners."""
    plain_box(in_folder)
    demo = ["compensate", "box.stl", "--demo-table"]
    assert main([*demo, "--crucible", "45x40"]) == 0
    report = json.loads((in_folder / "box.report.json").read_text())
    assert report["verdict"]["level"] == "do not make it"
    assert report["furnace"]["spare_mm"] == pytest.approx(41 - 42.197, abs=1e-2)
    assert main([*demo, "--box", "45x40x20", "--verbose"]) == 0
    assert "fits the box" in capsys.readouterr().out
    assert main([*demo, "--box", "45x40x20", "--crucible", "45x40"]) == 2
    assert "given twice" in capsys.readouterr().err
