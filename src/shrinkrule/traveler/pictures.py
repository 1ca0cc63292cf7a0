"""Drawings of one part: its numbered dimensions, and how it is set down in the furnace."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from PIL import Image, ImageDraw

from shrinkrule.compensation import turn_up
from shrinkrule.compensation.frames import moved
from shrinkrule.dimensions import Dimension, Kind, Numbered
from shrinkrule.mesh import Part, read_part
from shrinkrule.numerics.arrays import Floats
from shrinkrule.physics.interval import Feature
from shrinkrule.report.pictures.camera import Camera
from shrinkrule.report.pictures.dimensions import dimension_stills
from shrinkrule.report.pictures.marks import INK
from shrinkrule.report.pictures.scene import BACKGROUND, Drawing, Stage, draw
from shrinkrule.report.pictures.walls import data_uri, scale_bar
from shrinkrule.traveler.load import TravelingPart, numbered_of

WIDTH: Final = 480
HEIGHT: Final = 290
LOW_EYE: Final = (0.55, -0.70, 0.22)
"""From the front right, so low that the floor shows how the part stands on it."""

FLOOR: Final = (232, 226, 214)


@dataclass(frozen=True)
class PartPictures:
    """Pictures of a part as data URIs: its numbered dimensions, and how it is set down."""

    dimensions: tuple[str, ...]
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


def _numbered(part: TravelingPart, green: Part) -> tuple[str, ...]:
    """Pictures with the dimensions that are measured."""
    measured = {one.number for one in part.lengths}
    dozen = [
        Numbered(one["number"], _dimension(one), np.array(one["ends_mm"]))
        for one in numbered_of(part.report)
        if one["number"] in measured
    ]
    to_mesh = np.array(part.report["green_from_model"])
    stills = dimension_stills(Stage(green.mesh), dozen, to_mesh)
    return tuple(picture.uri for picture in stills.pictures)


def _dimension(one: dict[str, Any]) -> Dimension:
    """Dimension of a report, as far as a drawing asks for it."""
    return Dimension(
        Kind(one["kind"]),
        one["size_mm"],
        tuple(one["direction"]),
        tuple(one["at_mm"]),
        Feature(one["between"]),
        one["facets_round"] is not None,
    )


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
