"""The part that can be turned in the report: what is drawn, what draws it, and nothing else."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import trimesh

from shrinkrule import Printer, Recipe, compensate, demo_table, find_row, read_part
from shrinkrule.dimensions import numbered_dozen
from shrinkrule.job import JobResult
from shrinkrule.report import job_outputs
from shrinkrule.report.dimensions import dimension_rows
from shrinkrule.report.pictures.dimensions import dimension_stills
from shrinkrule.report.pictures.walls import thickness_colouring, wall_views
from shrinkrule.report.turning.scene import thinned, turning_scene
from shrinkrule.report.turning.three import three_js

SAMPLES = Path(__file__).parents[2] / "sample_models"
ROW = find_row(demo_table(), "bronze demo batch 90", "demo table")
THREE_SHA256 = "1baf8525cd80caceabd6eb50da7961aa47f191ac7a68adb454c3a761b29244e2"


@pytest.fixture(scope="module")
def lever() -> JobResult:
    part = read_part(SAMPLES / "lever_arm.stl")
    return compensate(part, Recipe(Printer.from_nozzle(0.6), ROW))


@pytest.fixture(scope="module")
def page(lever: JobResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report")
    return job_outputs(lever, folder)["html"]


def numbers(scene: dict[str, str], name: str, kind: str, width: int) -> np.ndarray:
    return np.frombuffer(base64.b64decode(scene[name]), dtype=kind).reshape(-1, width)


def test_three_js_is_the_one_that_was_looked_at_and_keeps_its_notice() -> None:
    """Where trimesh ships another, look at it, turn a part with it, and pin it anew."""
    script = three_js()
    assert "SPDX-License-Identifier: MIT" in script[:200]
    assert hashlib.sha256(script.encode()).hexdigest() == THREE_SHA256
    assert "</script" not in script


def test_the_scene_is_the_wanted_part_with_its_sag(lever: JobResult) -> None:
    scene = json.loads(turning_scene(lever))
    points = numbers(scene, "points", "<f4", 3)
    facets = numbers(scene, "facets", "<u4", 3)
    moved = numbers(scene, "moved", "<f4", 3)
    drawn = trimesh.Trimesh(points, facets, process=False)
    assert np.asarray(drawn.bounds) == pytest.approx(np.asarray(lever.part.mesh.bounds), abs=1e-3)
    assert drawn.area == pytest.approx(lever.part.mesh.area, rel=1e-4)
    assert len(numbers(scene, "thickness", "u1", 3)) == len(points) == len(moved)
    # The tip comes down by what the estimate says, and the foot of the hub stays.
    estimate = lever.sag_look.estimate
    assert estimate is not None
    assert -moved[:, 2].min() == pytest.approx(estimate.sag_mm, rel=0.02)
    assert points[moved[:, 2].argmin(), 0] > 22.0
    foot = points[:, 2] < 0.01
    assert np.abs(moved[foot]).max() < 0.1 * estimate.sag_mm


def test_a_fine_mesh_is_thinned_and_keeps_its_shape() -> None:
    ball = trimesh.creation.icosphere(subdivisions=6, radius=10.0)
    band = (ball.vertices[:, 2] > 0).astype(np.int64)
    points, facets, kept = thinned(ball.vertices, np.asarray(ball.faces), band, 20_000)
    assert len(facets) <= 20_000
    fewer = trimesh.Trimesh(points, facets, process=False)
    assert fewer.area == pytest.approx(ball.area, rel=0.02)
    assert np.linalg.norm(points, axis=1) == pytest.approx(10.0, abs=1e-9)
    # No colour runs over: a vertex keeps the one it has.
    assert (kept == (points[:, 2] > 0)).all()
    same = thinned(ball.vertices, np.asarray(ball.faces), band, 10**6)
    assert same[0] is ball.vertices


def test_the_page_reads_in_order_and_asks_for_nothing(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    assert page.stat().st_size < 8_000_000
    assert "default-src 'none'" in text
    headings = re.findall(r"<h2>(.*?)</h2>", text)
    assert headings == [
        "The part",
        "Findings",
        "Sag in the furnace",
        "Sizes: wanted, green, fired",
        "The part's own dimensions",
        "What was assumed and done",
        "Cautions",
    ]
    assert text.index('class="verdict') < text.index("<h2>The part</h2>")
    assert text.index("<img") < text.index("<h2>Findings</h2>")  # stills stay
    assert text.count("data-at=") >= 3  # two reasons and a row of the table
    assert not re.search(r"""(src|href)=["'](?!data:|#)""", text.partition("<script>")[0])


@pytest.mark.skipif(shutil.which("chromium") is None, reason="no Chromium here")
def test_chromium_turns_it_without_an_error(page: Path, tmp_path: Path) -> None:
    """With its sag shown and a finding flown to, the canvas is there and nothing is logged."""
    text = page.read_text(encoding="utf-8")
    clicks = (
        "<script>document.querySelector('[data-shading=sag]').click();"
        "document.querySelector('.verdict [data-at]').click();"
        "document.title='TURNED '+document.querySelectorAll('#turning-view canvas').length+' '"
        "+document.getElementById('turning-factor').textContent;</script></body>"
    )
    (tmp_path / "clicked.html").write_text(text.replace("</body>", clicks), encoding="utf-8")
    flags = "--headless --no-sandbox --use-angle=swiftshader --enable-unsafe-swiftshader"
    logs = "--enable-logging=stderr --virtual-time-budget=4000 --dump-dom"
    done = subprocess.run(
        ["chromium", *flags.split(), *logs.split(), f"--user-data-dir={tmp_path / 'profile'}",
         (tmp_path / "clicked.html").as_uri()],
        capture_output=True, encoding="utf-8", check=True, timeout=120,
    )  # fmt: skip
    assert "CONSOLE" not in done.stderr
    turned = re.search(r"<title>TURNED (\d+) (\d+)</title>", done.stdout)
    assert turned is not None
    assert turned[1] == "1"
    assert int(turned[2]) >= 2


def test_the_dozen_has_its_numbers_on_stills_in_the_table_and_on_the_part_that_turns(
    lever: JobResult, page: Path
) -> None:
    """Each line is as long as its dimension, and each number is on one still and in one row."""
    assert lever.dimensions is not None
    dozen = numbered_dozen(lever.dimensions)
    assert [one.number for one in dozen] == list(range(1, len(dozen) + 1))
    html = page.read_text(encoding="utf-8")
    found = re.search(r'<script[^>]*id="turning-data"[^>]*>(.*?)</script>', html, re.DOTALL)
    assert found is not None
    shown = json.loads(found[1])["dimensions"]
    assert [line["number"] for line in shown] == [one.number for one in dozen]
    for line, one in zip(shown, dozen, strict=True):
        first, last, _ = np.array(line["points"])
        assert np.linalg.norm(last - first) == pytest.approx(one.dimension.size_mm, abs=1e-3)
    views = wall_views(lever.walls, thickness_colouring(lever.walls))
    stills = dimension_stills(views.stage, dozen, lever.green.from_model)
    # Grey pictures made of the same rays as the coloured ones are the same to the last pixel.
    both = wall_views(lever.walls, thickness_colouring(lever.walls), plain=True)
    assert all(one.plain is not None and one.plain != one.image for one in both.drawings)
    again = dimension_stills(both.stage, dozen, lever.green.from_model, both.drawings)
    assert again.pictures == stills.pictures
    marked = sorted(int(number) for still in stills.pictures for number in still.marked)
    assert marked == [one.number for one in dozen]
    rows = dimension_rows(lever.dimensions, lever.promised, stills.pictures)
    assert [row["number"] for row in rows] == [str(number) for number in marked]
    assert all(re.fullmatch("[DEF]", row["seen"]) for row in rows)
