"""Pictures of a part without a screen: rays, colour by value, drawn by Pillow.

Views are parallel projections in the print frame, so a length in a picture is the
same everywhere in it. The picture's own frame is returned with it, so that marks
can be put on points of the part.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import trimesh
from numpy.typing import NDArray
from PIL import Image
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.numerics.triangles import unit_normals

VIEWS: Final[dict[str, tuple[float, float, float]]] = {
    "from the front right, above": (0.55, -0.70, 0.46),
    "from the back left, above": (-0.60, 0.66, 0.46),
    "from the front left, below": (-0.55, -0.62, -0.56),
}
"""Where the eye stands, as directions from the part; no side stays unseen in all three."""

BACKGROUND: Final = (255, 255, 255)
GREY: Final = np.array([0.72, 0.72, 0.72])
"""Colour of a surface about which nothing is known."""

_SAMPLING: Final = 2
"""Rays per picture pixel along each axis; two hide the stairs of an edge."""

STRIP: Final = 64
"""Rows of a picture drawn at a time."""


@dataclass(frozen=True)
class Camera:
    """Parallel projection.

    Parameters
    ----------
    right, up, back : (3,) float64
        Axes of the picture and the direction to the eye.
    centre : (3,) float64
        Point in the middle of the picture.
    mm_per_pixel : float
        Scale of the picture.
    width, height : int
        Of the picture in pixels.
    """

    right: Floats
    up: Floats
    back: Floats
    centre: Floats
    mm_per_pixel: float
    width: int
    height: int

    @classmethod
    def looking_at(
        cls, points: Floats, eye: tuple[float, float, float], width: int, height: int
    ) -> Camera:
        """Camera that shows all ``points`` ((n, 3)) with a margin."""
        back = np.asarray(eye, dtype=np.float64)
        back = back / np.linalg.norm(back)
        right = np.cross([0.0, 0.0, 1.0], back)
        right /= np.linalg.norm(right)
        up = np.cross(back, right)
        flat = np.column_stack([points @ right, points @ up])
        low, high = flat.min(axis=0), flat.max(axis=0)
        depth = float(np.mean([(points @ back).min(), (points @ back).max()]))
        middle = 0.5 * (low + high)
        centre = middle[0] * right + middle[1] * up + depth * back
        span = np.maximum(high - low, 1e-9)
        scale = float(max(span[0] / (0.86 * width), span[1] / (0.86 * height)))
        return cls(right, up, back, centre, scale, width, height)

    def pixels(self, points: Floats) -> Floats:
        """Pixel positions (n, 2) of points (n, 3)."""
        offset = (points - self.centre) / self.mm_per_pixel
        return np.column_stack(
            [self.width / 2 + offset @ self.right, self.height / 2 - offset @ self.up]
        )


@dataclass(frozen=True)
class Colouring:
    """Values on points of the surface and the colours that stand for them.

    Parameters
    ----------
    points, normals : (n, 3) float64
        Where values are known, mm, and which way the surface faces there.
    reach_mm : float
        How far a value may be fetched before it is better taken from a differently
        facing surface; a few sample spacings.
    values : (n,) float64
        Values there; nan is drawn grey.
    bounds : (k,) float64
        Limits between colours, rising.
    colours : (k + 1, 3) float64
        Colour, 0 to 1, below the first limit, between limits, and above the last.
    """

    points: Floats
    normals: Floats
    reach_mm: float
    values: Floats
    bounds: Floats
    colours: Floats

    def at(self, places: Floats, facing: Floats) -> Floats:
        """Colours (m, 3) at places (m, 3) of surfaces that face so: of the nearest value.

        Near means in place and in facing together, so that a colour does not spill
        round an edge.
        """
        if len(self.points) == 0:
            return np.tile(GREY, (len(places), 1))
        _, nearest = self._tree.query(np.hstack([places, self.reach_mm * facing]))
        values = self.values[nearest]
        colours = self.colours[np.digitize(values, self.bounds)]
        return np.where(np.isfinite(values)[:, None], colours, GREY)

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(np.hstack([self.points, self.reach_mm * self.normals]))

    def grown(self) -> Colouring:
        """Build the look-up tree now, before threads ask for it, and return itself."""
        if len(self.points):
            _ = self._tree
        return self


class Stage:
    """A mesh set up once for several views.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        In mm; also an open one can be drawn.
    """

    def __init__(self, mesh: trimesh.Trimesh) -> None:
        self.points = np.asarray(mesh.vertices, dtype=np.float64)
        self.faces = np.asarray(mesh.faces, dtype=np.int64)
        self.rays = Rays(mesh)

    def normals_of(self, facets: Ints) -> Floats:
        """Outward unit normals (n, 3) of ``facets``, zero where one has no area."""
        return unit_normals(self.points[self.faces[facets]])


@dataclass(frozen=True)
class Drawing:
    """A picture and how far from the eye's plane each pixel's surface lies.

    ``depth_mm`` is (height, width), measured against ``camera.back``; -inf where the
    background shows.
    """

    image: Image.Image
    camera: Camera
    depth_mm: Floats

    def depth_behind(self, points: Floats) -> Floats:
        """How far (n,) points (n, 3) lie behind what the picture shows, mm; inf outside it."""
        column, row = self.camera.pixels(points).astype(np.int64).T
        inside = (column >= 0) & (column < self.camera.width)
        inside &= (row >= 0) & (row < self.camera.height)
        front = np.full(len(points), np.inf)
        front[inside] = self.depth_mm[row[inside], column[inside]]
        behind: Floats = front - points @ self.camera.back
        return behind


def draw(stage: Stage, camera: Camera, colouring: Colouring | None) -> Drawing:
    """Picture of a mesh.

    Parameters
    ----------
    stage : Stage
        The mesh.
    camera : Camera
        From where.
    colouring : Colouring or None
        What colours mean; without it the part is grey.
    """
    tops = range(0, camera.height, STRIP)
    colouring = None if colouring is None else colouring.grown()
    # Rays and look-ups run outside the interpreter's lock; strips keep their memory small.
    with ThreadPoolExecutor(os.cpu_count()) as threads:
        strips = list(
            threads.map(
                lambda top: _strip(stage, camera, colouring, top, min(top + STRIP, camera.height)),
                tops,
            )
        )
    pixels = np.concatenate([strip[0] for strip in strips])
    size = (camera.width, camera.height)
    return Drawing(
        Image.fromarray(pixels).resize(size, Image.Resampling.BOX),
        camera,
        np.concatenate([strip[1] for strip in strips]),
    )


def _strip(
    stage: Stage, camera: Camera, colouring: Colouring | None, top: int, bottom: int
) -> tuple[NDArray[np.uint8], Floats]:
    """Sub-pixels, and depth of pixels, of the picture's rows from ``top`` to before ``bottom``."""
    above = min(top, 1)  # a row more, so that edges are seen across strips
    rows = np.arange(_SAMPLING * (top - above), _SAMPLING * bottom)
    width, height = camera.width * _SAMPLING, len(rows)
    hit, depth, normal, place = _cast(stage, camera, rows)
    shade = np.abs(normal @ camera.back)
    colours = np.tile(GREY, (width * height, 1))
    if colouring is not None and hit.any():
        block = _first_hit_of_each_pixel(hit, width, height)
        shown = np.unique(block[hit])
        colours[shown] = colouring.at(place[shown], normal[shown])
        colours[hit] = colours[block[hit]]
    lit = colours * (0.55 + 0.45 * shade)[:, None]
    lit[_outline(hit, depth, normal, camera, width, height)] *= 0.35
    image = np.where(hit[:, None], 255.0 * lit, np.array(BACKGROUND))
    pixels = np.clip(image, 0, 255).astype(np.uint8).reshape(height, width, 3)
    front = np.where(hit, place @ camera.back, -np.inf).reshape(height, width)
    skip = _SAMPLING * above
    return pixels[skip:], front[skip::_SAMPLING, ::_SAMPLING]


def _first_hit_of_each_pixel(hit: Mask, width: int, height: int) -> Ints:
    """For each sub-pixel, the first one of its pixel that meets the part.

    One look-up of a colour serves a whole pixel; shade and outline stay finer.
    """
    number = np.where(hit, np.arange(width * height), width * height)
    tiles = number.reshape(height // _SAMPLING, _SAMPLING, width // _SAMPLING, _SAMPLING)
    first = tiles.min(axis=(1, 3), keepdims=True)
    return np.broadcast_to(first, tiles.shape).reshape(-1)


def _cast(stage: Stage, camera: Camera, rows: Ints) -> tuple[Mask, Floats, Floats, Floats]:
    """Cast one parallel ray a sub-pixel of ``rows``: hit or not, depth, facet normal, place."""
    width, height = camera.width * _SAMPLING, camera.height * _SAMPLING
    step = camera.mm_per_pixel / _SAMPLING
    across = (np.arange(width) + 0.5 - width / 2) * step
    upward = (height / 2 - rows - 0.5) * step
    lifted = camera.centre - stage.rays.middle + 1.01 * stage.rays.span * camera.back
    origin = (
        across[None, :, None] * camera.right + upward[:, None, None] * camera.up + lifted
    ).reshape(-1, 3)
    depth, facet = stage.rays.cast(origin, np.broadcast_to(-camera.back, origin.shape))
    hit = facet >= 0
    depth = np.where(hit, depth, 0.0)
    place = origin - depth[:, None] * camera.back + stage.rays.middle
    normal = np.zeros_like(place)
    normal[hit] = stage.normals_of(facet[hit])
    return hit, depth, normal, place


def _outline(
    hit: Mask,
    depth: Floats,
    normal: Floats,
    camera: Camera,
    width: int,
    height: int,
) -> Mask:
    """Mark sub-pixels where the surface folds or jumps, for drawing edges."""
    shown = hit.reshape(height, width)
    far = depth.reshape(height, width)
    facing = normal.reshape(height, width, 3)
    line = np.zeros((height, width), dtype=np.bool_)
    jump = 12.0 * camera.mm_per_pixel / _SAMPLING
    for near, other in (
        ((slice(None), slice(1, None)), (slice(None), slice(None, -1))),
        ((slice(1, None), slice(None)), (slice(None, -1), slice(None))),
    ):
        both = shown[near] & shown[other]
        folds = np.einsum("ijk,ijk->ij", facing[near], facing[other]) < 0.85
        line[near] |= (shown[near] != shown[other]) | (
            both & (folds | (np.abs(far[near] - far[other]) > jump))
        )
    return (line & shown).ravel()
