"""Maps of the sag: as it stands, what an allowance leaves of it, and the six ways up.

What sags and what is left are painted in two hues, each with its own steps. The darkest step stands
for no less than what matters, so that a sag far under the interval of the sizes is pale.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import trimesh
from trimesh import Trimesh
from trimesh.triangles import points_to_barycentric

from shrinkrule.compensation import turn_up
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.report.pictures.camera import VIEWS, Camera
from shrinkrule.report.pictures.colouring import Colouring, Computed
from shrinkrule.report.pictures.scene import Stage, draw, draw_all
from shrinkrule.report.pictures.walls import (
    HATCH,
    HEIGHT,
    WIDTH,
    Picture,
    Swatch,
    css,
    data_uri,
    scale_bar,
)
from shrinkrule.walls import sample_surface

if TYPE_CHECKING:
    from shrinkrule.job import WayLook
    from shrinkrule.sag import PrecurveResult, SagEstimate

STEPS: Final = 6
"""Colours of a map, from nothing to the largest value, at most."""

ROUND: Final = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""Widths of a step, times a power of ten, that are read at a glance."""

PALE: Final = np.array([0.93, 0.95, 0.90])
SAGS: Final = np.array([0.45, 0.08, 0.20])
LEFT: Final = np.array([0.05, 0.25, 0.45])
"""One hue each, growing darker: also in grey print more is darker."""

UNHELD: Final = np.array([0.97, 0.69, 0.18])
"""Undersides that nothing holds while they are printed."""

_SAMPLES: Final = 40_000
_FEW_SAMPLES: Final = 8_000  # to find the largest of values that change smoothly
_ABOVE, _BELOW = "from the front right, above", "from the front left, below"
_SMALL: Final = (360, 270)


@dataclass(frozen=True)
class SagScale:
    """Steps of a map and their colours.

    Parameters
    ----------
    step_mm : float
        Width of a step.
    colours : (k, 3) float64
        Colours of the steps, the last for all that is more.
    """

    step_mm: float
    colours: Floats

    @classmethod
    def up_to(cls, most_mm: float, matters_mm: float, dark: Floats) -> SagScale:
        """Steps of a round width that reach the largest value, or what matters if that is more.

        Parameters
        ----------
        most_mm : float
            Largest value, mm.
        matters_mm : float
            The darkest colour stands for no less, mm.
        dark : (3,) float64
            Darkest colour.
        """
        top = max(most_mm, matters_mm, 1e-6)
        decade = 10.0 ** math.floor(math.log10(top / STEPS))
        width = next(r * decade for r in ROUND if r * decade * STEPS >= top * (1.0 - 1e-9))
        count = max(2, math.ceil(top / width - 1e-9))
        share = np.linspace(0.0, 1.0, count)[:, None]
        return cls(width, PALE + share * (dark - PALE))

    @property
    def bounds(self) -> Floats:
        """Limits between the steps, mm."""
        return self.step_mm * np.arange(1.0, len(self.colours))

    @property
    def swatches(self) -> tuple[Swatch, ...]:
        """What the colours stand for, in mm."""
        edges = [0.0, *(float(f"{bound:.6g}") for bound in self.bounds)]
        decimals = max(0, -math.floor(math.log10(self.step_mm) + 1e-9))
        decimals += round(self.step_mm * 10.0**decimals, 6) % 1.0 > 0.0
        names = [f"{edge:.{decimals}f}" for edge in edges]
        said = [f"{low} to {high} mm" for low, high in itertools.pairwise(names)]
        said.append(f"over {names[-1]} mm")
        return (
            *(Swatch(css(c), text) for c, text in zip(self.colours, said, strict=True)),
            Swatch(HATCH, "not known"),
        )


@dataclass(frozen=True)
class SagMap:
    """A map of the sag: pictures and what their colours mean."""

    title: str
    pictures: tuple[Picture, ...]
    swatches: tuple[Swatch, ...]


def sag_maps(
    sag: PrecurveResult, furnace_up: tuple[float, float, float], matters_mm: float
) -> tuple[SagMap, ...]:
    """Maps of the sag without allowance and of what is left with it.

    Parameters
    ----------
    sag : PrecurveResult
        Sag before and after the allowance.
    furnace_up : tuple of 3 float
        Unit vector in the model that points up in the furnace.
    matters_mm : float
        A sag that matters, mm.

    Returns
    -------
    tuple of SagMap
        One or two, each with its own colours.
    """
    corners, facets = np.asarray(sag.wanted.triangles), np.asarray(sag.wanted.faces)

    def size(displacement: Floats) -> Callable[[Floats, Ints], Floats]:
        def at(places: Floats, hit: Ints) -> Floats:
            share = points_to_barycentric(corners[hit], places)
            moved = np.einsum("nc,ncd->nd", share, displacement[facets[hit]])
            return np.asarray(np.linalg.norm(moved, axis=1), dtype=np.float64)

        return at

    def most(displacement: Floats) -> float:
        # Between its corners a facet moves no farther than they do.
        return float(np.linalg.norm(displacement, axis=1).max())

    maps = [("without allowance", sag.before.displacement, matters_mm, SAGS)]
    if sag.rounds:
        # What is left is known no better than the bricks resolve it.
        bricks = float(np.nan_to_num(sag.before.numerical_mm, posinf=0.0))
        maps.append(("with it", sag.remaining, max(bricks, matters_mm), LEFT))
    up = np.asarray(furnace_up)
    return tuple(
        _map(sag.wanted, size(moved), most(moved), up, title, least, dark)
        for title, moved, least, dark in maps
    )


def estimate_map(
    mesh: trimesh.Trimesh,
    estimate: SagEstimate,
    furnace_up: tuple[float, float, float],
    matters_mm: float,
) -> SagMap | None:
    """Map of the quick estimate; None where it is known at one place only.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The wanted part.
    estimate : SagEstimate
        Its sag.
    furnace_up : tuple of 3 float
        Unit vector in the model that points up in the furnace.
    matters_mm : float
        A sag that matters, mm.
    """
    field = estimate.field
    if field is None:
        return None

    def size(places: Floats, _facets: Ints | None = None) -> Floats:
        return np.asarray(np.linalg.norm(field.at(places), axis=1), dtype=np.float64)

    few = sample_surface(mesh, float(np.sqrt(mesh.area / _FEW_SAMPLES))).points
    most = float(size(few).max())
    up = np.asarray(furnace_up)
    return _map(mesh, size, most, up, "as it stands", matters_mm, SAGS)


def _spacing(mesh: trimesh.Trimesh) -> float:
    return float(np.sqrt(mesh.area / _SAMPLES))


def _map(
    mesh: trimesh.Trimesh,
    values: Callable[[Floats, Ints], Floats],
    most_mm: float,
    up: Floats,
    title: str,
    matters_mm: float,
    dark: Floats,
) -> SagMap:
    """Two pictures of values known everywhere on the surface, the furnace's up upward."""
    stage, turn = Stage(mesh), turn_up(up)
    scale = SagScale.up_to(most_mm, matters_mm, dark)
    colouring = Computed(values, scale.bounds, scale.colours)
    sides = (_ABOVE, _BELOW)
    cameras = [Camera.looking_at(stage.points, VIEWS[side], WIDTH, HEIGHT, turn) for side in sides]
    pictures = []
    for side, drawing in zip(sides, draw_all(stage, cameras, colouring), strict=True):
        scale_bar(drawing.image, drawing.camera)
        pictures.append(Picture(data_uri(drawing.image), f"{title}, seen {side}"))
    return SagMap(title, tuple(pictures), scale.swatches)


def way_pictures(
    mesh: trimesh.Trimesh, ways: Sequence[WayLook], matters_mm: float
) -> tuple[tuple[tuple[Picture, Picture], ...], tuple[Swatch, ...]]:
    """Each way up drawn twice: from above with its sag, from below with what nothing holds.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The wanted part.
    ways : sequence of WayLook
        The ways up.
    matters_mm : float
        A sag that matters, mm.

    Returns
    -------
    tuple of (Picture, Picture), tuple of Swatch
        Two pictures of each way, and what the colours of all of them mean.
    """
    most = max((look.way.sag_mm for look in ways if look.way.stands), default=0.0)
    scale = SagScale.up_to(most, matters_mm, SAGS)
    samples = sample_surface(mesh, _spacing(mesh))
    reach = 2.0 * _spacing(mesh)
    drawn = []
    for look in ways:
        field, turn = look.way.field, turn_up(np.asarray(look.way.up))
        turned = Trimesh(np.asarray(mesh.vertices) @ turn.T, mesh.faces, process=False)
        values = np.full(len(samples.points), np.nan)
        if field is not None:
            values = np.linalg.norm(field.at(samples.points), axis=1)
        normals = np.asarray(turned.face_normals)[samples.facets]
        there = samples.points @ turn.T
        sags = Colouring(there, normals, reach, values, scale.bounds, scale.colours)
        below = np.where(_unheld(look, samples.points, normals), 1.0, 0.0)
        held = Colouring(there, normals, reach, below, np.array([0.5]), np.stack([PALE, UNHELD]))
        stage = Stage(turned)
        pair = []
        for side, colouring, what in ((_ABOVE, sags, "fired"), (_BELOW, held, "printed")):
            drawing = draw(stage, Camera.looking_at(stage.points, VIEWS[side], *_SMALL), colouring)
            scale_bar(drawing.image, drawing.camera)
            caption = f"{look.way.name} up, {what}, seen {side}"
            pair.append(Picture(data_uri(drawing.image), caption))
        drawn.append((pair[0], pair[1]))
    named = Swatch(css(UNHELD), "nothing holds it while it is printed")
    return tuple(drawn), (*scale.swatches, named)


def _unheld(look: WayLook, points: Floats, normals: Floats) -> Mask:
    """Which points of the model face down into one of the places that nothing holds."""
    green = points @ look.green.from_model[:3, :3].T + look.green.from_model[:3, 3]
    inside = np.zeros(len(points), dtype=np.bool_)
    for finding in look.found:
        low, high = np.array(finding.box)
        inside |= ((green >= low - 1e-6) & (green <= high + 1e-6)).all(axis=1)
    return inside & (normals[:, 2] < 0.0)
