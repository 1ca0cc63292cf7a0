"""Details of a wall check: a cut through what lies inside, and what is small drawn close."""

from __future__ import annotations

from typing import Final

import numpy as np

from shrinkrule.job import Place
from shrinkrule.numerics.arrays import Floats
from shrinkrule.report.pictures.scene import VIEWS, Camera, Drawing, draw
from shrinkrule.report.pictures.walls import (
    Picture,
    WallViews,
    data_uri,
    mark_places,
    scale_bar,
)

MOST_DETAILS: Final = 6
"""Details drawn at most, the worst first: the page is to be read, and printed."""

SMALL: Final = 0.08
"""Share of a view's width under which a place is drawn close as well."""

NEAREST_MM: Final = 6.0
"""Width of a close-up at least: enough of what is around it to know where it is."""

_CLOSE: Final = 6.0  # times the place's own width
_SIZE: Final = (360, 270)


def detail_pictures(views: WallViews) -> tuple[Picture, ...]:
    """A cut or a close-up for the worst place of each row that needs one.

    Parameters
    ----------
    views : WallViews
        The views, in which places are seen or hidden.

    Returns
    -------
    tuple of Picture
        Those of the worst rows, each naming the row that it shows.
    """
    drawn: list[Picture] = []
    done = set[int]()
    for which, (number, place) in enumerate(views.marks):
        if number in done or len(drawn) == MOST_DETAILS:
            continue
        done.add(number)
        if which in views.hidden:
            drawn.append(_cut(views, number, place))
            continue
        view, spot = next(
            (view, spot)
            for view, shown in enumerate(views.shown)
            for mark, spot in shown
            if mark == which
        )
        camera = views.drawings[view].camera
        if _width(place) < SMALL * camera.width * camera.mm_per_pixel:
            drawn.append(_close(views, number, place, view, spot))
    return tuple(drawn)


def _width(place: Place) -> float:
    """Longest side of the place's box, mm."""
    return float(np.ptp(np.array(place.finding.box), axis=0).max())


def _cut(views: WallViews, number: int, place: Place) -> Picture:
    """The part cut through a place, across its wall and where the place is longest."""
    finding = place.finding
    across = np.abs(np.array(finding.direction))
    long = np.ptp(np.array(finding.box), axis=0)
    # The cut's plane holds the wall's own direction, or the wall would lie flat in it.
    axis = int(np.lexsort((-long, np.round(across, 1)))[0])
    eye = np.zeros(3)
    eye[axis] = -1.0 if axis == 1 else 1.0
    whole = Camera.looking_at(views.stage.points, (eye[0], eye[1], eye[2]), *_SIZE)
    at = np.array(finding.position)
    centre = whole.centre + ((at - whole.centre) @ whole.back) * whole.back
    camera = Camera(whole.right, whole.up, whole.back, centre, whole.mm_per_pixel, *_SIZE, cut=True)
    drawing = draw(views.stage, camera, views.colouring)
    side = ("the right", "the front", "above")[axis]
    caption = f"place {number}: cut through it, seen from {side}"
    return _finished(drawing, number, at, caption)


def _close(views: WallViews, number: int, place: Place, view: int, spot: Floats) -> Picture:
    """A place drawn close, from where it is seen."""
    side, eye = list(VIEWS.items())[view]
    reach = 0.5 * max(NEAREST_MM, _CLOSE * _width(place))
    whole = views.drawings[view].camera
    scale = min(2.0 * reach / _SIZE[1], whole.mm_per_pixel)
    towards = Camera.looking_at(views.stage.points, eye, *_SIZE)
    camera = Camera(towards.right, towards.up, towards.back, spot, scale, *_SIZE)
    return _finished(
        draw(views.stage, camera, views.colouring),
        number,
        spot,
        f"place {number}: close, seen {side}",
    )


def _finished(drawing: Drawing, number: int, at: Floats, caption: str) -> Picture:
    mark_places(drawing, [(number, at)])
    scale_bar(drawing.image, drawing.camera)
    return Picture(data_uri(drawing.image), caption, (number,))
