"""When pre-curving stops, what is said of footings, and which edges follow a curve.

The solver is replaced by what it would give: the questions are about what is done with it.
"""

from __future__ import annotations

import sys
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import trimesh

from shrinkrule.numerics.progress import silent
from shrinkrule.sag import SagSettings
from shrinkrule.sag.precurve import Saving, _fire_until_straight, _Firing, _judge, refine_to_follow


def of(**facts: Any) -> Any:
    return SimpleNamespace(**facts)


MODULE = sys.modules[_Firing.__module__]
UPWARD = np.array([0.0, 0.0, 1.0])
BAR = trimesh.creation.box(bounds=[(0.0, 0.0, 0.0), (40.0, 8.0, 4.0)])
SAG = np.where(np.asarray(BAR.vertices)[:, 2:] > 2.0, -0.6 * UPWARD, 0.0)


@pytest.mark.parametrize(
    ("errors_mm", "rounds"),
    [
        ((0.4, 0.1, 0.01, 0.001), 3),  # straight to a twentieth of its sag of 0.6 mm
        ((0.02, 0.01), 1),
        ((0.4, 0.35, 0.1), 2),  # improves by less than a fifth
        ((0.4, 0.1, 0.2, 0.01), 3),  # worse than before
        ((0.5, 0.35, 0.25, 0.15, 0.1, 0.07, 0.05, 0.035), 6),  # all rounds allowed
    ],
)
@pytest.mark.parametrize("extrapolated", [False, True])
def test_it_is_fired_until_straight_or_no_better(
    extrapolated: bool,
    errors_mm: tuple[float, ...],
    rounds: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its top misses by a known distance after each firing, with what finer bricks would add."""
    target, left = np.asarray(BAR.vertices), list(errors_mm)

    lacks = 0.1 * SAG if extrapolated else np.zeros_like(SAG)

    def fired(*_: Any) -> Any:
        miss = left.pop(0) * SAG / 0.6 - lacks
        return of(field=of(at=lambda points: target + miss - points))

    monkeypatch.setattr(MODULE, "sag_on_grid", fired)
    monkeypatch.setattr(MODULE, "lay_grid", lambda *_, **__: None)
    problem = of(
        settings=SagSettings(max_rounds=6, tolerance_mm=0.05),
        plan=of(grid=of(turn=np.eye(3)), brick_mm=1.0),
        material=None,
    )
    correction = of(at=lambda _: lacks) if extrapolated else None
    sure: Any = of(solved=of(), correction=correction)
    firings = _fire_until_straight(BAR, of(displacement=SAG), sure, problem, silent)
    assert [firing.error_mm for firing in firings] == pytest.approx(errors_mm[:rounds])


@pytest.mark.parametrize(
    ("rolls", "footing_share", "flattened"),
    [(True, 0.5, True), (False, 0.001, True), (True, 0.001, True), (False, 0.5, False)],
)
def test_what_rolls_or_stands_on_a_point_is_said_to_be_flattened(
    rolls: bool, footing_share: float, flattened: bool
) -> None:
    before = of(
        rolls=rolls,
        footing_share=footing_share,
        steepest=0.0,
        slumps=False,
        displacement=SAG,
        largest_sag_mm=0.6,
    )
    left = _Firing(BAR, np.asarray(BAR.vertices), 0.1)
    verdict, said = _judge(left, BAR, before, 4.0, SagSettings(tolerance_mm=0.05))
    assert verdict is Saving.PARTLY
    assert ("flattened" in " ".join(said)) is flattened


@pytest.mark.parametrize(("side", "middles"), [(2.0, 0), (2.001, 4)])
def test_only_edges_longer_than_two_bricks_follow_the_curve(side: float, middles: int) -> None:
    """Across a bar that bends sharply across its width, bricks of 1 mm."""
    part = trimesh.creation.box(bounds=[(0.0, 0.0, 0.0), (16.0, side, side)])
    curve = of(
        grid=of(size=np.ones(3)), at=lambda points: np.outer(points[:, 1] ** 2, [0.0, 0.0, 1.0])
    )
    fine = np.asarray(refine_to_follow(part, curve, 0.1).vertices)
    at_end = (fine[:, 0] % 16.0 == 0.0) & (fine[:, 2] % side == 0.0)
    assert np.count_nonzero(at_end & (fine[:, 1] == side / 2.0)) == middles


def test_facets_follow_a_curve_and_leave_a_straight_field_alone() -> None:
    """A beam's parabola of 1 mm: half way along an edge of length L its chord misses L^2 / 1600.

    A quarter of the tolerance of 0.02 mm is allowed: edges along X of 2.83 mm at most. A straight
    lean asks for pieces of an eighth of the part only.
    """
    part = trimesh.creation.box(bounds=[(0.0, 0.0, 0.0), (40.0, 3.0, 3.0)])
    longest = []
    for shape in (lambda x: 0.02 * x, lambda x: 4.0 * (x / 40.0) * (1.0 - x / 40.0)):
        field = of(
            grid=of(size=np.ones(3)),
            at=lambda points, shape=shape: np.outer(shape(points[:, 0]), UPWARD),
        )
        fine = refine_to_follow(part, field, 0.02)
        along_x = np.asarray(fine.vertices)[fine.edges_unique][:, :, 0]
        longest.append(np.ptp(along_x, axis=1).max())
    assert longest[0] == pytest.approx(5.0)
    assert longest[1] <= (0.25 * 0.02 * 1600.0) ** 0.5
