"""Details of a wall check: a cut through what lies inside, and what is small drawn close."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats
from shrinkrule.report.pictures.camera import VIEWS, Camera
from shrinkrule.report.pictures.marks import Mark, mark_places
from shrinkrule.report.pictures.scene import Drawing, draw_all
from shrinkrule.report.pictures.walls import (
    Picture,
    WallViews,
    data_uri,
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
    details: list[_Detail] = []
    done = set[str]()
    for which, mark in enumerate(views.marks):
        if mark.label in done or len(details) == MOST_DETAILS:
            continue
        done.add(mark.label)
        if which in views.hidden:
            details.append(_cut(views, mark))
            continue
        view, spot = next(
            (view, spot)
            for view, shown in enumerate(views.shown)
            for one, spot in shown
            if one == which
        )
        camera = views.drawings[view].camera
        if mark.width_mm < SMALL * camera.width * camera.mm_per_pixel:
            details.append(_close(views, mark, view, spot))
    drawings = draw_all(views.stage, [detail.camera for detail in details], views.colouring)
    return tuple(map(_finished, details, drawings))


@dataclass(frozen=True)
class _Detail:
    """What to draw: from where, and the mark on it at a place (3,)."""

    camera: Camera
    mark: Mark
    at: Floats
    what: str


def _cut(views: WallViews, mark: Mark) -> _Detail:
    """The part cut through a place, across its wall and where the place is longest."""
    long = np.ptp(mark.box, axis=0)
    # The cut's plane holds the wall's own direction, or the wall would lie flat in it.
    axis = int(np.lexsort((-long, np.round(np.abs(mark.across), 1)))[0])
    eye = np.zeros(3)
    eye[axis] = -1.0 if axis == 1 else 1.0
    whole = Camera.looking_at(views.stage.points, (eye[0], eye[1], eye[2]), *_SIZE)
    centre = whole.centre + ((mark.point - whole.centre) @ whole.back) * whole.back
    camera = Camera(whole.right, whole.up, whole.back, centre, whole.mm_per_pixel, *_SIZE, cut=True)
    side = ("the right", "the front", "above")[axis]
    return _Detail(camera, mark, mark.point, f"cut through it, seen from {side}")


def _close(views: WallViews, mark: Mark, view: int, spot: Floats) -> _Detail:
    """A place drawn close, from where it is seen."""
    side = list(VIEWS)[view]
    seen = views.drawings[view].camera
    reach = max(NEAREST_MM, _CLOSE * mark.width_mm)
    scale = min(reach / _SIZE[1], seen.mm_per_pixel)
    camera = Camera(seen.right, seen.up, seen.back, spot, scale, *_SIZE)
    return _Detail(camera, mark, spot, f"close, seen {side}")


def _finished(detail: _Detail, drawing: Drawing) -> Picture:
    label = detail.mark.label
    mark_places(drawing, [(label, detail.at)])
    scale_bar(drawing.image, drawing.camera)
    return Picture(data_uri(drawing.image), f"place {label}: {detail.what}", (label,))
