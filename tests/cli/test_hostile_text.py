"""Names that act (control characters, markup, marks of direction, formulas) do nothing anywhere."""

from __future__ import annotations

import csv
import io
import json
import os
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
import trimesh

from shrinkrule import read_table, stl_bytes
from shrinkrule.calibration import demo_table, table_csv
from shrinkrule.cli import main

NASTY = "a\x1b[31m\u202ebad[bold]x[red]\u2066\x07<img src=q onerror=alert(1)>&y"
ACTING = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ud800-\udfff]"
)
BOX = stl_bytes(trimesh.creation.box((30, 20, 5)), "box")
FORMULA = "=cmd()+A0"


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    return tmp_path


class Tags(HTMLParser):
    """Collects what a page would run or fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.bad += [f"{tag} {name}" for name, _ in attrs if name.startswith("on")]
        self.bad += [value for name, value in attrs if name == "src" and value and value[0] == "q"]


def assert_harmless(page: str) -> None:
    assert not ACTING.search(page)
    tags = Tags()
    tags.feed(page)
    assert tags.bad == []


@pytest.mark.parametrize("command", ["compensate", "walls", "ways-up"])
def test_the_name_of_a_model(
    in_folder: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    name = f"{NASTY}.stl"
    Path(name).write_bytes(BOX)
    more = {"walls": [], "compensate": ["--demo-table"], "ways-up": ["--demo-table"]}[command]
    assert main([command, name, *more]) == 0
    shown = capsys.readouterr()
    assert not ACTING.search(shown.out + shown.err)
    assert "[bold]x[red]" in shown.out.replace("\n", "")
    for page in in_folder.glob("*.html"):
        assert_harmless(page.read_text(encoding="utf-8"))
    for report in in_folder.glob("*.json"):
        assert json.loads(report.read_text())["model"]["file"] == name
        assert not ACTING.search(report.read_text())


def test_a_name_in_another_encoding(capsys: pytest.CaptureFixture[str]) -> None:
    name = os.fsdecode(b"St\xfcck.stl")
    Path(name).write_bytes(BOX)
    assert main(["compensate", name, "--demo-table"]) == 0
    assert not ACTING.search(capsys.readouterr().out)
    assert main(["compensate", os.fsdecode(b"n\xfcr.stl"), "--demo-table"]) == 2
    error = capsys.readouterr().err
    assert "no such file" in error
    assert not ACTING.search(error)


def test_names_and_words_of_a_row(in_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    row = replace(demo_table()[0], name=FORMULA, material="+brass", note="-1+1", process="@x")
    text = table_csv((row,))
    (cells,) = list(csv.DictReader(io.StringIO(text)))
    assert all(not cells[c].startswith(("=", "+", "@", "-")) for c in ("name", "material", "note"))
    Path("t.csv").write_text(text, encoding="utf-8")
    (again,) = read_table("t.csv")
    assert (again.name, again.material, again.note) == (FORMULA, "+brass", "-1+1")
    nasty = replace(row, name="row[bold]<i>z", material="<script>alert(1)</script>")
    Path("t.csv").write_text(table_csv((nasty,)), encoding="utf-8")
    Path("box.stl").write_bytes(BOX)
    assert main(["compensate", "box.stl", "--table", "t.csv"]) == 0
    assert main(["rows", "t.csv"]) == 0
    assert "row[bold]<i>z" in capsys.readouterr().out
    page = Path("box.report.html").read_text(encoding="utf-8")
    assert "<i>z" not in page
    assert "<script>alert" not in page


def test_a_refusal_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    Path(f"{NASTY}.stl").write_bytes(b"solid \x1b[2J\nfacet\x1b\x07 \xe2\x80\xae oops\n")
    assert main(["compensate", f"{NASTY}.stl", "--demo-table"]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert not ACTING.search(error)
