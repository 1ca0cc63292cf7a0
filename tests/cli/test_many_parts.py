"""Several models in one command: as one by one, a failure leaves the others, loads, a summary."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
import trimesh

from shrinkrule import Printer, Recipe, ScaleFactors, compensate, part_from_mesh, stl_bytes
from shrinkrule.cli import main
from shrinkrule.cli.many_parts import Outcome, models_in, run_all
from shrinkrule.errors import FileError, SettingError
from shrinkrule.furnace import CrucibleFurnace
from shrinkrule.job import room_of
from shrinkrule.loads import Load
from shrinkrule.numerics.progress import silent
from shrinkrule.report.many import LoadPlan, many_dict, many_outputs
from shrinkrule.sag.settings import SagSettings


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def box(path: Path, *sides: float) -> Path:
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(stl_bytes(trimesh.creation.box(sides or (30, 20, 5)), "box"))
    return path


class Links(HTMLParser):
    """Collects where a page leads."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value for name, value in attrs if name in {"src", "href"} and value]


def test_a_folder_is_done_as_its_parts_one_by_one_and_a_failure_leaves_the_others(
    in_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two plates of 35 x 23 mm green share a crucible 90 mm across; one stands in another row."""
    box(in_folder / "parts" / "plate 2.stl")
    box(in_folder / "parts" / "<b>plate 10.stl")
    (in_folder / "parts" / "bad.stl").write_text("no model")
    box(in_folder / "parts" / "plate 2.green.stl")
    for folder in ("all", "one"):
        (in_folder / folder).mkdir()
    options = ["--demo-table", "--print-up=-z", "--crucible", "90x60", "--no-sag"]
    assert main(["compensate", "parts", *options, "--out", "all"]) == 2
    shown = capsys.readouterr().out
    assert max(len(line) for line in shown.splitlines()) <= 80
    text = " ".join(shown.split())
    assert "3 parts: 1 failed, 2 make it" in text or "3 parts: 2 make it, 1 failed" in text
    assert "bad.stl: this is" in text
    assert "1 load" in text
    assert main(["compensate", "parts/plate 2.stl", *options, "--out", "one"]) == 0
    names = {path.name for path in (in_folder / "all").iterdir()}
    assert names == {
        "parts.summary.html",
        *(f"{stem}.{end}" for stem in ("plate 2", "<b>plate 10") for end in (
            "green.stl", "report.html", "report.json")),
    }  # fmt: skip
    for end in ("green.stl", "report.json"):
        both = [(in_folder / f / f"plate 2.{end}").read_bytes() for f in ("all", "one")]
        if end == "report.json":
            plain = [json.loads(data) for data in both]
            assert all(one.pop("created") and one.pop("command") for one in plain)
            assert plain[0] == plain[1]
        else:
            assert both[0] == both[1]
    page = (in_folder / "all" / "parts.summary.html").read_text()
    assert "<b>plate" not in page
    links = Links()
    links.feed(page)
    assert sorted(links.found) == ["%3Cb%3Eplate%2010.report.html", "plate%202.report.html"]
    assert page.count("<polygon") == 2
    assert page.count("<svg") == 1


def test_models_out_of_folders_are_each_taken_once_and_by_number(in_folder: Path) -> None:
    for name in (
        "part 10.stl",
        "part 2.STL",
        "a.3mf",
        "part 3.green.stl",
        "part 2.walls.ply",
        "notes.txt",
        ".x.stl",
    ):
        (in_folder / name).write_text("")
    (in_folder / "folder.stl").mkdir()
    found = models_in([Path("part 2.STL"), Path()])
    assert [path.name for path in found] == ["part 2.STL", "a.3mf", "part 10.stl"]
    with pytest.raises(FileError, match="no model in this folder"):
        models_in([Path("folder.stl")])
    (in_folder / "folder.stl" / "Part 10.stl").write_text("")
    with pytest.raises(SettingError, match="would both write"):
        models_in([Path(), Path("folder.stl")])


def test_a_part_that_takes_more_than_the_memory_stated_is_ended_and_said_so(
    in_folder: Path,
) -> None:
    if not Path("/proc/self/status").exists():
        pytest.skip("this system does not say how much memory a process takes")
    model = box(in_folder / "box.stl")
    (outcome,) = run_all([model], ["--demo-table"], 0.01, 0.5, silent)
    assert (outcome.code, outcome.report) == (2, None)
    assert "more than 0.01 GB" in outcome.why
    assert [path.name for path in in_folder.iterdir()] == ["box.stl"]


def test_a_process_that_is_ended_from_outside_is_a_failure(
    in_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    killer = in_folder / "killer"
    killer.write_text("#!/bin/sh\nkill -9 $$\n")
    killer.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(killer))
    (outcome,) = run_all([in_folder / "box.stl"], [], 4.0, 0.5, silent)
    assert outcome.code == 2
    assert "signal 9" in outcome.why


def test_the_report_is_opened_and_its_path_is_not_wrapped(
    in_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    opened: list[str] = []

    def launch(page: str) -> int:
        opened.append(page)
        return 0

    monkeypatch.setattr("typer.launch", launch)
    name = "a very long name of a part that is longer than any line of a screen is wide today"
    box(in_folder / f"{name}.stl")
    assert main(["compensate", f"{name}.stl", "--demo-table", "--open"]) == 0
    assert opened == [str(in_folder / f"{name}.report.html")]
    lines = capsys.readouterr().out.splitlines()
    assert f"slice {name}.green.stl" in lines
    assert f"read  {name}.report.html" in lines


def test_a_part_takes_the_room_that_it_has_as_it_lies_in_the_furnace() -> None:
    """A box of 30 x 20 x 5 mm stood on end along its X is as high as it is long, green."""
    part = part_from_mesh(trimesh.creation.box((30, 20, 5)))
    recipe = Recipe(Printer.from_nozzle(0.6), factors=ScaleFactors(1.2, 1.1, 1.3), turn_deg=90)
    flat = compensate(part, recipe)
    room = room_of(flat)
    # Turned on the bed by 90 degrees, its X is the print's Y and grows by that factor.
    assert room.height_mm == pytest.approx(6.5, rel=1e-9)
    assert room.area_mm2 == pytest.approx(30 * 1.1 * 20 * 1.2, rel=1e-9)
    on_end = SagSettings(furnace_up=(1.0, 0.0, 0.0))
    stood = room_of(replace(flat, recipe=replace(recipe, lies=on_end)))
    assert stood.height_mm == pytest.approx(30 * 1.1, rel=1e-9)
    assert stood.area_mm2 == pytest.approx(20 * 1.2 * 6.5, rel=1e-9)


@pytest.mark.parametrize(
    ("fewest", "said"),
    [
        (3, "3 loads, proven least: the parts' area alone takes as many"),
        (2, "3 loads found, not proven least: by the parts' area 2 may do"),
    ],
)
def test_a_number_of_loads_is_called_least_only_where_that_is_proven(
    fewest: int, said: str
) -> None:
    plan = LoadPlan(CrucibleFurnace(90, 60), "row 'x'", (Load(()),) * 3, (), fewest)
    assert plan.title.endswith(said)
    assert plan.proven_least is (fewest == 3)
    (told,) = many_dict([], [plan])["loads"]
    assert told["proven_least"] is plan.proven_least


def test_names_of_any_bytes_reach_the_page_and_its_links(in_folder: Path) -> None:
    """A name in Latin-1 is no UTF-8; the page is written all the same, and leads to it."""
    model = in_folder / os.fsdecode(b"b\xfcgel \x1b[2J.stl")
    name = f"{model.stem}.report.html"
    report = {
        "verdict": {"level": "make it", "headline": "Make it.", "reasons": [], "checks": []},
        "prediction": {"sizes": [{"green_mm": 1.0}] * 3},
        "filament": None,
        "files": {"html": name},
    }
    page = many_outputs([Outcome(model, 0, report, "")], [], in_folder).read_bytes()
    assert b"\x1b" not in page
    links = Links()
    links.feed(page.decode())
    assert links.found == ["b%FCgel%20%1B%5B2J.report.html"]
