"""Wall checks and sag of jobs and pictures of pages, made once for the tests that ask for the same.

Many tests run the whole job on the same box to see one other thing of it. What is kept answers only
for the same mesh, the same printer and limits, or the same camera and colours, to the last bit; the
tests of walls and pictures themselves call what computes.
"""

from __future__ import annotations

import hashlib
import pickle
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from typing import Any, Final

import pytest
import trimesh

from shrinkrule import sag
from shrinkrule.calibration import FitResult
from shrinkrule.job import look
from shrinkrule.numerics.progress import silent
from shrinkrule.report.fit import html
from shrinkrule.report.fit.plots import Plot, fit_plots
from shrinkrule.report.pictures import scene
from shrinkrule.report.pictures.camera import Camera
from shrinkrule.report.pictures.colouring import Colouring, Computed
from shrinkrule.report.pictures.scene import Drawing, Stage, draw
from shrinkrule.report.sag import pictures as sag_pictures
from shrinkrule.walls import WallReport, check_walls

MOST_KEPT: Final = 24
"""Answers of each kind that are kept; a picture with its depths takes 3 MB."""

_PLACE: Final = (1.0, 2.0, 4.0)
"""Put in words, it tells how the notes of a check name places."""


class Kept:
    """Answers by what they were computed from; the one not asked for longest goes."""

    def __init__(self) -> None:
        self._answers: OrderedDict[bytes, Any] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, asked: Any, compute: Callable[[], Any]) -> Any:
        """Give the answer, computed if it is not kept."""
        key = hashlib.sha256(pickle.dumps(asked)).digest()
        with self._lock:
            known = key in self._answers
            answer = self._answers.get(key)
        if not known:
            answer = compute()
        with self._lock:
            self._answers[key] = answer
            self._answers.move_to_end(key)
            if len(self._answers) > MOST_KEPT:
                self._answers.popitem(last=False)
        return answer


def _walls_once() -> Callable[..., WallReport]:
    kept = Kept()

    def check_once(mesh: trimesh.Trimesh, *asked: Any, **named: Any) -> WallReport:
        facts = {name: named[name] for name in named.keys() - {"progress", "place_text"}}
        place = named["place_text"](_PLACE)
        alike = (mesh.vertices.tobytes(), mesh.faces.tobytes(), place, asked, facts)
        report: WallReport = kept.get(alike, lambda: check_walls(mesh, *asked, **named))
        (named.get("progress") or silent)("walls checked", 1.0)
        return report

    return check_once


def _drawn_once() -> Callable[..., Drawing]:
    kept = Kept()

    def draw_once(
        stage: Stage,
        camera: Camera,
        colouring: Colouring | Computed | None,
        *,
        plain: bool = False,
    ) -> Drawing:
        if isinstance(colouring, Computed):
            # What computes its values cannot be compared.
            return draw(stage, camera, colouring, plain=plain)
        colours = None
        if colouring is not None:
            colours = {name: getattr(colouring, name) for name in colouring.__dataclass_fields__}
        alike = (stage.points.tobytes(), stage.faces.tobytes(), camera, colours, plain)
        made: Drawing = kept.get(alike, lambda: draw(stage, camera, colouring, plain=plain))
        # A page draws its marks upon them.
        grey = None if made.plain is None else made.plain.copy()
        return replace(made, image=made.image.copy(), plain=grey)

    return draw_once


def _sag_once(solve: Callable[..., Any]) -> Callable[..., Any]:
    kept = Kept()

    @wraps(solve)
    def solve_once(mesh: trimesh.Trimesh, *asked: Any, **named: Any) -> Any:
        facts = {name: named[name] for name in named.keys() - {"progress"}}
        alike = (mesh.vertices.tobytes(), mesh.faces.tobytes(), asked, facts)
        return kept.get(alike, lambda: solve(mesh, *asked, **named))

    return solve_once


def _plotted_once() -> Callable[[FitResult], tuple[Plot, ...]]:
    kept = Kept()

    def plot_once(fit: FitResult) -> tuple[Plot, ...]:
        made: tuple[Plot, ...] = kept.get(fit, lambda: fit_plots(fit))
        return made

    return plot_once


def do_once(patch: pytest.MonkeyPatch) -> None:
    """Put what keeps its answers in the place of what computes them."""
    patch.setattr(look, "check_walls", _walls_once())
    drawn_once = _drawn_once()
    for pictures in (scene, sag_pictures):
        patch.setattr(pictures, "draw", drawn_once)
    patch.setattr(html, "fit_plots", _plotted_once())
    # The job imports these when it calls them; a test of sag has imported what solves.
    for solve in (sag.estimate_sag, sag.rank_ways_up, sag.precurve):
        patch.setattr(sag, solve.__name__, _sag_once(solve))
