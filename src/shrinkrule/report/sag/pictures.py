"""Maps of the sag: without allowance, and what the allowance leaves."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Final

import numpy as np
from trimesh import Trimesh
from trimesh.triangles import points_to_barycentric

from shrinkrule.compensation import turn_up
from shrinkrule.report.pictures.scene import GREY, VIEWS, Camera, Colouring, Stage, draw
from shrinkrule.report.pictures.walls import (
    HEIGHT,
    WIDTH,
    Picture,
    Swatch,
    css,
    data_uri,
    scale_bar,
)
from shrinkrule.report.sag.words import sag_reach
from shrinkrule.report.words import sure_decimals
from shrinkrule.walls import sample_surface

if TYPE_CHECKING:
    from shrinkrule.sag import PrecurveResult

STEPS: Final = 6
"""Colours of a sag map, from nothing to the largest sag."""

_SAMPLES: Final = 40_000
_SIDES: Final = ("from the front right, above", "from the front left, below")
# One hue growing darker: also in grey print more sag is darker.
_PALE, _DARK = np.array([0.93, 0.95, 0.90]), np.array([0.45, 0.08, 0.20])


def sag_pictures(
    sag: PrecurveResult, furnace_up: tuple[float, float, float]
) -> tuple[tuple[Picture, ...], tuple[Swatch, ...]]:
    """Maps of the sag without allowance and of what is left with it, and their one legend.

    Parameters
    ----------
    sag : PrecurveResult
        Sag before and after the allowance.
    furnace_up : tuple of 3 float
        Unit vector in the model that points up in the furnace.

    Returns
    -------
    tuple of Picture, tuple of Swatch
        Maps in one scale of colours, and what the colours mean in mm.
    """
    turn = turn_up(np.asarray(furnace_up))
    samples = sample_surface(sag.wanted, float(np.sqrt(sag.wanted.area / _SAMPLES)))
    corners = np.asarray(sag.wanted.triangles)[samples.facets]
    share = points_to_barycentric(corners, samples.points)
    facets = sag.wanted.faces[samples.facets]
    left = np.einsum("nc,ncd->nd", share, sag.remaining[facets])
    self_contact = np.einsum("nc,ncd->nd", share, sag.before.displacement[facets])
    without = np.linalg.norm(self_contact, axis=1)
    bounds = np.linspace(0.0, max(float(without.max()), 1e-6), STEPS + 1)[1:-1]
    colours = _PALE + np.linspace(0.0, 1.0, STEPS)[:, None] * (_DARK - _PALE)
    turned = Trimesh(sag.wanted.vertices @ turn.T, sag.wanted.faces, process=False)
    stage = Stage(turned)
    normals = np.asarray(turned.face_normals)[samples.facets]
    pictures = []
    maps = [("without allowance", without)]
    if sag.rounds:
        maps.append(("with it", np.linalg.norm(left, axis=1)))
    for title, values in maps:
        reach = 2.0 * float(np.sqrt(sag.wanted.area / _SAMPLES))
        colouring = Colouring(samples.points @ turn.T, normals, reach, values, bounds, colours)
        for side in _SIDES:
            camera = Camera.looking_at(stage.points, VIEWS[side], WIDTH, HEIGHT)
            drawing = draw(stage, camera, colouring)
            scale_bar(drawing.image, drawing.camera)
            pictures.append(Picture(data_uri(drawing.image), f"{title}, seen {side}"))
    edges = [0.0, *bounds]
    # As many decimals as are sure, but enough to distinguish one colour from the next.
    distinct = -int(np.floor(np.log10(bounds[0])))
    decimals = max(sure_decimals(sag_reach(sag.before)), distinct, 0)
    names = [
        f"{low:.{decimals}f} to {high:.{decimals}f} mm" for low, high in itertools.pairwise(edges)
    ]
    names.append(f"over {edges[-1]:.{decimals}f} mm")
    swatches = [Swatch(css(colour), name) for colour, name in zip(colours, names, strict=True)]
    return tuple(pictures), (*swatches, Swatch(css(GREY), "not known"))
