"""``shrinkrule coupon`` as a maker uses it."""

from __future__ import annotations

import csv
import json
import re
import shlex
from pathlib import Path

import pytest
import trimesh

from shrinkrule.cli import main

FILES = {"coupon.stl", "coupon.sheet.csv", "coupon.page.html"}


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_it_writes_the_print_the_sheet_and_the_page(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["coupon", "--crucible", "90x60", "--material", "bronze demo batch"]) == 0
    assert names(in_folder) == FILES
    mesh = trimesh.load_mesh(in_folder / "coupon.stl")
    assert mesh.is_volume
    block = max(body.volume for body in mesh.split())
    sheet = (in_folder / "coupon.sheet.csv").read_text()
    rows = {r["id"]: r for r in csv.DictReader(sheet.splitlines())}
    # Sizes pass through float32 and merge again: 1e-5 of the volume is far more than that.
    assert block == pytest.approx(float(rows["S16"]["nominal"]), rel=1e-5)
    assert rows["S4"]["nominal"] == "bronze demo batch"
    assert "bronze demo batch" in (in_folder / "coupon.page.html").read_text()
    shown = capsys.readouterr().out
    assert "coupon.stl" in shown
    assert max(len(line) for line in shown.splitlines()) <= 80
    assert len(shown.splitlines()) <= 24


def test_it_never_replaces_files_unasked(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    filled = in_folder / "coupon.sheet.csv"
    filled.write_text("readings of a week")
    assert main(["coupon", "--box", "80x60x50"]) == 2
    assert "--force" in capsys.readouterr().err
    assert names(in_folder) == {"coupon.sheet.csv"}
    assert filled.read_text() == "readings of a week"
    assert main(["coupon", "--box", "80x60x50", "--force"]) == 0
    assert names(in_folder) == FILES


def test_json_tells_what_was_made(in_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["coupon", "--box", "120 x 100 x 60 mm", "--json", "--name", "c 2"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["one_load"] is True
    assert {piece["name"] for piece in told["pieces"]} >= {"block", "ladder"}
    assert all((in_folder / name).is_file() for name in told["files"].values())


def test_the_commands_of_the_document_work(
    in_folder: Path,
) -> None:
    text = (Path(__file__).parents[2] / "docs" / "coupon.md").read_text()
    commands = re.findall(r"^shrinkrule (.*)$", text, re.MULTILINE)
    assert len(commands) == 3
    for command, name in zip(commands, ("coupon", "soft", "few"), strict=True):
        before = names(in_folder)
        assert main(shlex.split(command)) == 0
        assert names(in_folder) - before == {file.replace("coupon", name) for file in FILES}


@pytest.mark.parametrize(
    ("options", "mend"),
    [
        (["--nozzle", "0.6"], "either --box"),
        (["--box", "80x60x50", "--crucible", "90x60"], "either --box"),
        (["--box", "80x60"], "80x60x50"),
        (["--crucible", "40x40"], "would do with this nozzle"),
        (["--box", "80x60x50", "--name", "../coupon"], "letters"),
        (["--box", "80x60x50", "--out", "/dev/null/x"], "this is no folder"),
        (["--box", "80x60x50", "--density", "nan"], "g/cm3"),
        (["--box", "80x60x50", "--sag-modulus", "0"], "kPa"),
    ],
)
def test_what_cannot_work_is_refused_in_one_line(
    options: list[str], mend: str, in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["coupon", *options]) == 2
    error = capsys.readouterr().err
    assert mend in error
    assert len(error.splitlines()) == 1
    assert names(in_folder) == set()
