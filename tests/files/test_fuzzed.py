"""Damaged files for every reader, from kept seeds: nothing but our own error comes out.

``benchmarks/fuzz.py`` is the harness; docs/results-fuzz.md has the long runs and what they found.
"""

from __future__ import annotations

import copy
import json
import math
import random
from pathlib import Path
from typing import Any

import fuzz
import pytest

from shrinkrule.errors import FileError
from shrinkrule.history.chart import Components
from shrinkrule.history.firings import firing_chart
from shrinkrule.history.store import read_history
from shrinkrule.traveler.pictures import PartPictures
from shrinkrule.traveler.shape import require_shape

FILES = 120
FEWER = {"report": 12, "load": 20, "history": 40}
"""Changed files for each reader, and for those that go on to pages: a second or two."""


@pytest.mark.parametrize("target", sorted(fuzz.TARGETS))
def test_nothing_but_our_error_comes_out(
    target: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fuzz, "_PLACE", tmp_path)
    seeds, rng = fuzz.seeds_of(target), random.Random(target)
    for seed in seeds:
        assert not fuzz.read_once(target, seed, math.inf)
    files = FEWER.get(target, FILES)
    refused = sum(fuzz.read_once(target, fuzz.changed(seeds, rng), math.inf) for _ in range(files))
    # Of a history nothing but damaged lines is passed over.
    assert refused == 0 if target == "history" else 0 < refused <= files


def test_utf_16_cut_in_a_letter_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fuzz, "_PLACE", tmp_path)
    assert fuzz.read_once("table", fuzz.seeds_of("table")[1][:-1], math.inf)


def test_a_crack_is_not_closed_by_losing_all_facets(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Far from the origin single precision is coarse: three corners of one facet are a crack."""
    monkeypatch.setattr(fuzz, "_PLACE", tmp_path)
    text = "solid\nfacet normal 0 0 1\nouter loop\n{}endloop\nendfacet\nendsolid\n"
    corners = ((9e5, 9e5, 0.0), (900000.0625, 9e5, 0.0), (9e5, 900000.0625, 0.0))
    loop = "".join("vertex {} {} {}\n".format(*corner) for corner in corners)
    assert not fuzz.read_once("stl", text.format(loop).encode(), math.inf)


def test_a_report_with_a_value_missing_or_of_another_kind_is_refused_by_its_name(
    tmp_path: Path,
) -> None:
    """Each value a traveler takes, one after the other: missing, of another kind, beyond all."""
    sound = json.loads(fuzz.seeds_of("report")[0])
    taken = [
        *(("calibration", "row", "name"), ("calibration", "row", "metal_mass_share")),
        *(("prediction", "sizes"), ("prediction", "green_mass_g", "value"), ("recipe", "model")),
        *(("dimensions", 0, "readings", 0, "fired_mm", "value"), ("dimensions", 1, "ends_mm", 0)),
        *(("green_from_model",), ("furnace_up",), ("files",), ("settings", 0, "value")),
        *(("verdict", "level"), ("room_in_furnace", "reach_mm"), ("furnace", "spare_mm")),
    ]
    path = tmp_path / "block.report.json"
    require_shape(sound, path)
    values: tuple[Any, ...] = (None, {}, [[]], 1e39)
    for keys in taken:
        for value in values:
            report = copy.deepcopy(sound)
            inner = report
            for key in keys[:-1]:
                inner = inner[key]
            if value is None:
                del inner[keys[-1]]
            else:
                inner[keys[-1]] = value
            with pytest.raises(FileError, match="run compensate again") as refused:
                require_shape(report, path)
            assert refused.value.where == str(path)
    for name in ("../x", "/dev/null", "a/b", "", "\0"):
        with pytest.raises(FileError, match="files"):
            require_shape({**sound, "files": {"green_stl": name}}, path)


OF_THE_PART = (
    *(("furnace",), ("dimensions",), ("sag_estimate",)),
    *(("prediction", "green_volume_mm3"), ("prediction", "fired_mass_g")),
)
INSIDE = (
    ("prediction", "green_mass_g", "half95"),
    *(("dimensions", 0, "readings", 0, "fired_mm", "value"), ("dimensions", 0, "sag_mm")),
    *(("calibration", "row", "bead_offset_mm"), ("calibration", "row", "sag_modulus_kpa")),
)


@pytest.mark.parametrize(
    ("nulls", "refused"),
    [(OF_THE_PART, False), (INSIDE, False), ((("room_in_furnace",),), True)],
    ids=("of the part", "inside", "room"),
)
def test_what_is_null_is_refused_or_left_out_of_the_page(
    nulls: tuple[tuple[str | int, ...], ...],
    refused: bool,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What a report leaves out in some case is left out of the page, the rest refused."""
    monkeypatch.setattr(fuzz, "_PLACE", tmp_path)
    monkeypatch.setattr(fuzz, "part_pictures", lambda _: PartPictures(("",), "", "z"))
    report = json.loads(fuzz.seeds_of("report")[0])
    for keys in nulls:
        inner = report
        for key in keys[:-1]:
            inner = inner[key]
        assert inner[keys[-1]] is not None
        inner[keys[-1]] = None
    assert fuzz.read_once("report", json.dumps(report).encode(), math.inf) == refused


def test_a_letter_or_number_that_no_history_holds_costs_its_line_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fuzz, "_PLACE", tmp_path)
    sound = fuzz.seeds_of("history")[0].splitlines()
    reviewed = json.loads(sound[1])
    odd = [{**reviewed, "letter": []}, {**reviewed, "firing": {}}, {**reviewed, "row": 1}]
    odd += [{**reviewed, "masses": math.nan}, {**reviewed, "masses": math.inf}]
    lines = [*map(json.dumps, odd), '{"entry": "made", "masses": 1e999}', sound[1].decode()]
    fuzz.TARGETS["history"]("\n".join(lines).encode())
    read = read_history(tmp_path / "table.csv")
    assert len(read.entries) == 1
    assert "line 1, 2, 3, 4, 5 and 1 more" in read.notes[0]


def test_a_shrinkage_beyond_a_whole_is_on_no_chart() -> None:
    """JSON holds integers of any length; float does not."""
    entry = {"entry": "reviewed", "row": "a", "firing": "1", "letter": "A", "green": None}
    read = [{**entry, "shrinkage": {"xy": value}} for value in (10**400, math.inf, -2.0)]
    assert firing_chart(read, "a", "xy", Components(0.15, 0.001)).firings == ()
