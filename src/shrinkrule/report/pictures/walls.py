"""Pictures of a green part with its wall thickness in colour, a legend in mm, and marks."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from shrinkrule.job import WallLook
from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.threads import of_each
from shrinkrule.report.pictures.camera import VIEWS, Camera
from shrinkrule.report.pictures.colouring import Colouring
from shrinkrule.report.pictures.marks import INK, Mark, mark_places, wall_marks
from shrinkrule.report.pictures.scene import Drawing, Stage, draw_all
from shrinkrule.walls import ThicknessScale

WIDTH: Final = 540
HEIGHT: Final = 400
HATCH: Final = "repeating-linear-gradient(45deg, #b8b8b8 0 4px, #ededed 4px 8px)"
"""Background of a legend's entry for what is not known, as it is drawn."""


@dataclass(frozen=True)
class Swatch:
    """One entry of the legend: a CSS background and what it stands for."""

    colour: str
    text: str


@dataclass(frozen=True)
class Picture:
    """A picture as a data URI, the side it is seen from, and the labels marked on it.

    ``letter`` names it where the page speaks of it elsewhere.
    """

    uri: str
    caption: str
    marked: tuple[str, ...] = ()
    letter: str = ""


def thickness_colouring(look: WallLook) -> Colouring:
    """Colours for the wall at every sample.

    Parameters
    ----------
    look : WallLook
        The wall check of a green part.

    Returns
    -------
    Colouring
        Colour by band of thickness; grey where nothing was measured.
    """
    shown, colours = look.report.shown, look.scale.colours
    return Colouring(
        points=shown.points,
        normals=shown.normals,
        reach_mm=4.0 * shown.spacing_mm,
        values=np.where(shown.band < 0, np.nan, shown.band),
        bounds=np.arange(0.5, len(colours) - 1.0),
        colours=colours,
    )


def legend(scale: ThicknessScale) -> tuple[Swatch, ...]:
    """Legend of the thickness colours, in mm of the green part.

    Parameters
    ----------
    scale : ThicknessScale
        Bands and their colours.

    Returns
    -------
    tuple of Swatch
        One for each band.
    """
    *known, unknown = scale.legend
    return (*(Swatch(entry.css, entry.text) for entry in known), Swatch(HATCH, unknown.text))


@dataclass(frozen=True)
class WallViews:
    """The green part from every view, with its places.

    Parameters
    ----------
    stage : Stage
        The green part.
    colouring : Colouring
        What its colours mean.
    drawings : list of Drawing
        One for each view.
    marks : list of Mark
        Places to show.
    shown : list of list of (int, (3,) float64)
        For each view, which of the marks it shows, and at which point.
    hidden : frozenset of int
        Which of the marks no view shows.
    """

    stage: Stage
    colouring: Colouring
    drawings: list[Drawing]
    marks: list[Mark]
    shown: list[list[tuple[int, Floats]]]
    hidden: frozenset[int]


def wall_views(
    look: WallLook, colouring: Colouring, others: Sequence[Mark] = (), *, plain: bool = False
) -> WallViews:
    """Draw the green part from every view, and see which places each shows.

    Parameters
    ----------
    look : WallLook
        The wall check of a green part.
    colouring : Colouring
        What its colours mean.
    others : sequence of Mark
        Places to show beside those of the wall check.
    plain : bool
        Whether the same views are wanted in grey too.

    Returns
    -------
    WallViews
        Without marks yet.
    """
    stage = Stage(look.green.mesh)
    marks = [*wall_marks(look), *others]
    cameras = [Camera.looking_at(stage.points, eye, WIDTH, HEIGHT) for eye in VIEWS.values()]
    drawings = draw_all(stage, cameras, colouring, plain=plain)
    shown, hidden = _where_shown(drawings, marks)
    return WallViews(stage, colouring, drawings, marks, shown, hidden)


def wall_pictures(views: WallViews) -> tuple[Picture, ...]:
    """Pictures of the green part from every view, with places marked by their number.

    Parameters
    ----------
    views : WallViews
        The views; they are drawn upon.

    Returns
    -------
    tuple of Picture
        One for each view, as a data URI with its caption.
    """
    marks, shown = views.marks, views.shown
    for drawing, of_view in zip(views.drawings, shown, strict=True):
        mark_places(drawing, [(marks[which].label, spot) for which, spot in of_view])
        scale_bar(drawing.image, drawing.camera)
    uris = of_each(data_uri, [drawing.image for drawing in views.drawings])
    return tuple(
        Picture(uri, f"seen {side}", _labels(marks, of_view), letter)
        for uri, letter, side, of_view in zip(uris, "ABC", VIEWS, shown, strict=True)
    )


def _labels(marks: list[Mark], of_view: list[tuple[int, Floats]]) -> tuple[str, ...]:
    """Labels of the rows marked in a view, each once."""
    return tuple(dict.fromkeys(marks[which].label for which, _ in of_view))


def _where_shown(
    drawings: list[Drawing], marks: list[Mark]
) -> tuple[list[list[tuple[int, Floats]]], frozenset[int]]:
    """Which places to mark in each drawing, at which point (3,) of each, and which none shows.

    A place is marked where it is seen, else at a side of its box that is, as the mouth of a slot,
    else where the least lies before it.
    """
    shown: list[list[tuple[int, Floats]]] = [[] for _ in drawings]
    hidden = set()
    for which, mark in enumerate(marks):
        point, skin = mark.point, mark.skin_mm
        behind = np.array([drawing.depth_behind(point[None])[0] for drawing in drawings])
        views = [view for view in range(len(drawings)) if behind[view] <= skin]
        spots = dict.fromkeys(views, point)
        if not spots:
            about = _about(mark)
            for view, drawing in enumerate(drawings):
                seen = about[drawing.depth_behind(about) <= skin]
                if len(seen):
                    spots[view] = seen[np.argmin(np.linalg.norm(seen - point, axis=1))]
        if not spots:
            hidden.add(which)
            spots[int(behind.argmin())] = point
        for view, spot in spots.items():
            shown[view].append((which, spot))
    return shown, frozenset(hidden)


def _about(mark: Mark) -> Floats:
    """Middles (6, 3) of the sides of a place's box: where a slot opens, one is in sight."""
    low, high = mark.box
    middle = 0.5 * (low + high)
    sides = np.tile(middle, (6, 1))
    sides[[0, 1, 2], [0, 1, 2]] = low
    sides[[3, 4, 5], [0, 1, 2]] = high
    return sides


def scale_bar(image: Image.Image, camera: Camera) -> None:
    """Draw a bar of a round length, about a fifth of the picture.

    Parameters
    ----------
    image : Image
        Is drawn upon.
    camera : Camera
        Millimetres per pixel.
    """
    reach = 0.2 * camera.width * camera.mm_per_pixel
    decade = 10.0 ** np.floor(np.log10(reach))
    length = max(step for step in (1, 2, 5) if step * decade <= reach) * decade
    pen = ImageDraw.Draw(image)
    left, low = 16, camera.height - 16
    right = left + length / camera.mm_per_pixel
    pen.line([(left, low), (right, low)], fill=INK, width=3)
    font = ImageFont.load_default(14)
    pen.text(((left + right) / 2, low - 4), f"{length:g} mm", font=font, fill=INK, anchor="mb")


def data_uri(image: Image.Image) -> str:
    """Picture as a data URI, PNG.

    Parameters
    ----------
    image : Image
        The picture.

    Returns
    -------
    str
        For the ``src`` of an image.
    """
    stream = io.BytesIO()
    image.save(stream, "PNG", compress_level=6)
    return "data:image/png;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


def css(colour: tuple[float, ...] | Floats) -> str:
    """Colour (3,), 0 to 1, as CSS writes it.

    Parameters
    ----------
    colour : (3,) float
        Red, green and blue, 0 to 1.

    Returns
    -------
    str
        As ``#1f77b4``.
    """
    return "#" + "".join(f"{round(255 * float(channel)):02x}" for channel in colour)
