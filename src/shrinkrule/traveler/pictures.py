"""Drawings of one part: its numbered dimensions, and how it is set down in the furnace."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from PIL import Image, ImageDraw

from shrinkrule.compensation import turn_up
from shrinkrule.compensation.frames import moved
from shrinkrule.mesh import Part, read_part
from shrinkrule.numerics.arrays import Floats
from shrinkrule.report.pictures.marks import INK, mark_places
from shrinkrule.report.pictures.scene import BACKGROUND, Camera, Drawing, Stage, draw
from shrinkrule.report.pictures.walls import data_uri, scale_bar
from shrinkrule.traveler.load import Expected, TravelingPart

WIDTH: Final = 480
HEIGHT: Final = 290
EYE: Final = (0.55, -0.70, 0.46)
LOW_EYE: Final = (0.55, -0.70, 0.22)
"""From the front right, above; and lower, where the floor shows how the part stands on it."""

FLOOR: Final = (232, 226, 214)
BESIDE: Final = 0.06
"""How far beside the part its overall sizes are drawn, over its longest side."""

OVERALL: Final = "overall"


@dataclass(frozen=True)
class PartPictures:
    """Pictures of a part as data URIs: its numbered dimensions, and how it is set down."""

    dimensions: str
    set_down: str
    up: str


def part_pictures(part: TravelingPart) -> PartPictures:
    """Draw a part.

    Parameters
    ----------
    part : TravelingPart
        The part; its green file is read.

    Returns
    -------
    PartPictures
        The pictures.

    Raises
    ------
    ShrinkruleError
        If the green file cannot be read.
    """
    green = read_part(part.green)
    return PartPictures(
        _numbered(part, green), _set_down(part, green), _axis_name(part.report["furnace_up"])
    )


def _numbered(part: TravelingPart, green: Part) -> str:
    stage = Stage(green.mesh)
    low, high = stage.points.min(axis=0), stage.points.max(axis=0)
    beside = BESIDE * float((high - low).max())
    sides = np.stack([low - beside, high + beside])
    corners = np.array(
        [sides[[i, j, k], [0, 1, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    )
    seen = np.vstack([stage.points, corners])
    drawing = draw(stage, Camera.looking_at(seen, EYE, WIDTH, HEIGHT), None)
    overall, marks = _overall(part.lengths, low, high, beside), []
    pen = ImageDraw.Draw(drawing.image)
    for number, ends in overall.items():
        first, last = drawing.camera.pixels(ends)
        pen.line([tuple(first), tuple(last)], fill=INK, width=2)
        for end in (first, last):
            pen.ellipse([*(end - 3), *(end + 3)], fill=INK)
        marks.append((str(number), ends.mean(axis=0)))
    from_model = np.array(part.report["green_from_model"])
    marks += [
        (str(one.number), from_model[:3, :3] @ np.array(one.place) + from_model[:3, 3])
        for one in part.lengths
        if one.number not in overall
    ]
    mark_places(drawing, marks)
    scale_bar(drawing.image, drawing.camera)
    return data_uri(drawing.image)


def _overall(
    lengths: tuple[Expected, ...], low: Floats, high: Floats, beside: float
) -> dict[int, Floats]:
    """Ends (2, 3) of the lines that show the overall sizes, at edges of the box that are seen."""
    corners = {
        "x": (low[0], low[1] - beside, low[2]),
        "y": (high[0] + beside, low[1], low[2]),
        "z": (low[0] - beside, low[1] - beside, low[2]),
    }
    found = {}
    for one in lengths:
        if one.what == OVERALL:
            ends, axis = np.tile(np.array(corners[one.axis]), (2, 1)), "xyz".index(one.axis)
            ends[:, axis] = low[axis], high[axis]
            found[one.number] = ends
    return found


def _set_down(part: TravelingPart, green: Part) -> str:
    """Picture of the green part on the furnace's floor."""
    rows = np.array(part.report["green_from_model"])[:3, :3]
    to_print = rows / np.linalg.norm(rows, axis=1, keepdims=True)
    to_furnace = np.eye(4)
    to_furnace[:3, :3] = turn_up(to_print @ np.array(part.report["furnace_up"]))
    stage = Stage(moved(green.mesh, to_furnace))
    low, high = stage.points.min(axis=0), stage.points.max(axis=0)
    apart = 0.18 * float((high - low)[:2].max())
    floor = np.array(
        [
            (low[0] - apart, low[1] - apart, low[2]),
            (high[0] + apart, low[1] - apart, low[2]),
            (high[0] + apart, high[1] + apart, low[2]),
            (low[0] - apart, high[1] + apart, low[2]),
        ]
    )
    camera = Camera.looking_at(np.vstack([stage.points, floor]), LOW_EYE, WIDTH, HEIGHT)
    drawing = draw(stage, camera, None)
    _lay_floor(drawing, floor)
    scale_bar(drawing.image, camera)
    return data_uri(drawing.image)


def _lay_floor(drawing: Drawing, floor: Floats) -> None:
    """Paint the floor (4, 3) where the part does not hide it."""
    image = drawing.image
    painted = Image.new("RGB", image.size, BACKGROUND)
    corners = [tuple(corner) for corner in drawing.camera.pixels(floor)]
    ImageDraw.Draw(painted).polygon(corners, fill=FLOOR, outline=INK)
    empty = (np.asarray(image.convert("RGB")) == np.array(BACKGROUND)).all(axis=2)
    image.paste(painted, (0, 0), Image.fromarray((255 * empty).astype(np.uint8)))


def _axis_name(up: list[float]) -> str:
    """Axis of the model that points up, in a word."""
    axis = int(np.argmax(np.abs(up)))
    return ("-" if up[axis] < 0.0 else "") + "xyz"[axis]
