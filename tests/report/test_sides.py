"""Pictures are no mirror images: what stands on the right of the part is drawn on the right."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule.numerics.arrays import Floats
from shrinkrule.report.pictures.camera import Camera
from shrinkrule.report.pictures.scene import BACKGROUND, Stage, draw

WIDTH, HEIGHT = 160, 120
QUARTER = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
"""Turns X to Y, and Y to -X."""


def post_on_a_plate() -> trimesh.Trimesh:
    """A plate with a post near its +X end, off to its +Y side."""
    plate = trimesh.creation.box((20.0, 12.0, 2.0))
    post = trimesh.creation.box((3.0, 3.0, 10.0))
    post.apply_translation((8.0, 4.0, 6.0))
    return trimesh.util.concatenate([plate, post])


@pytest.mark.parametrize(
    ("eye", "turn", "side"),
    [
        ((0.0, -1.0, 0.0), None, 1.0),  # from the front: +X is on the right
        ((0.0, 1.0, 0.0), None, -1.0),
        ((1.0, 0.0, 0.0), None, 1.0),  # from the right: +Y is on the right
        ((-1.0, 0.0, 0.0), None, -1.0),
        ((0.0, -1.0, 0.0), QUARTER, -1.0),  # turned, +Y of the part looks to -X
        ((1.0, 0.0, 0.0), QUARTER, 1.0),  # and +X to +Y
    ],
)
def test_what_stands_on_one_side_is_drawn_there(
    eye: tuple[float, float, float], turn: Floats | None, side: float
) -> None:
    stage = Stage(post_on_a_plate())
    drawing = draw(stage, Camera.looking_at(stage.points, eye, WIDTH, HEIGHT, turn), None)
    part = (np.asarray(drawing.image) != BACKGROUND).any(axis=2)
    rows, columns = np.nonzero(part)
    post = columns[rows < rows.min() + 0.5 * np.ptp(rows)]
    assert side * (post.mean() - columns.mean()) > 0.1 * np.ptp(columns)
    # The post rises: its end is at the top.
    assert np.ptp(columns[rows == rows.min()]) < 0.5 * np.ptp(columns[rows == rows.max()])
