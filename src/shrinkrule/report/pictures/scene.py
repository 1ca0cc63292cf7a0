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
from typing import Final, NamedTuple

import numpy as np
import trimesh
from numpy.typing import NDArray
from PIL import Image
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.numerics.arrays import Floats, Ints, Mask, box_of
from shrinkrule.numerics.triangles import unit_normals

VIEWS: Final[dict[str, tuple[float, float, float]]] = {
    "from the front right, above": (0.55, -0.70, 0.46),
    "from the back left, above": (-0.60, 0.66, 0.46),
    "from the front left, below": (-0.55, -0.62, -0.56),
}
"""Where the eye stands, as directions from the part; no side stays unseen in all three."""

BACKGROUND: Final = (255, 255, 255)
GREY: Final = np.array([0.72, 0.72, 0.72])
"""Colour of a surface about which nothing is said."""

PALE_GREY: Final = np.array([0.93, 0.93, 0.93])
"""Stripes in it where a value is not known: no step of a scale has stripes."""

STRIPE: Final = 5.0
"""Width of a stripe in pixels."""

STRIP: Final = 64
"""Rows of a picture drawn at a time."""

MARGIN: Final = 3
"""Pixels about the part that are drawn with it, so that its outline has a background beside it."""

MOST_KEPT: Final = 200_000
"""Facets up to which all normals are kept: fewer than a picture has pixels."""

FOLD: Final = 0.85
"""Cosine between two normals below which the surface folds there: an edge is drawn."""

SLIGHT_FOLD: Final = 0.99
"""The same for pixels that are looked at more closely."""

JUMP: Final = 6.0
"""Difference of depth, over the distance in the picture, that is drawn as an edge."""

DARKER: Final = 0.35
"""Brightness of an edge."""

BEHIND_CUT: Final = 0.6
"""Brightness of what is seen behind a section, which is drawn as bright as it can be."""

FINE: Final = np.array([-0.75, -0.25, 0.25])
"""Rays through a pixel at an edge, from its middle, along each axis: two of the pixel's own, which
hide the stairs, and one of the pixel before it to compare with."""


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
    cut : bool
        Whether what lies before the centre is cut away: the eye looks onto the section there.
    """

    right: Floats
    up: Floats
    back: Floats
    centre: Floats
    mm_per_pixel: float
    width: int
    height: int
    cut: bool = False

    @classmethod
    def looking_at(
        cls, points: Floats, eye: tuple[float, float, float], width: int, height: int
    ) -> Camera:
        """Camera that shows all ``points`` ((n, 3)) with a margin."""
        back = np.asarray(eye, dtype=np.float64)
        back = back / np.linalg.norm(back)
        right = np.cross([0.0, 0.0, 1.0], back)
        if not right.any():
            right = np.array([1.0, 0.0, 0.0])  # from straight above
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
        Values there; nan is drawn in grey stripes.
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

    def at(self, places: Floats, facing: Floats, camera: Camera) -> Floats:
        """Colours (m, 3) at places (m, 3) of surfaces that face so: of the nearest value.

        Near means in place and in facing together, so that a colour does not spill
        round an edge. Where the value is not known, stripes run across the camera's picture.
        """
        across = places @ (camera.right + camera.up) / (1.5 * STRIPE * camera.mm_per_pixel)
        unknown = np.where((np.floor(across) % 2.0 == 0.0)[:, None], GREY, PALE_GREY)
        if len(self.points) == 0:
            return np.asarray(unknown)
        _, nearest = self._tree.query(np.hstack([places, self.reach_mm * facing]))
        values = self.values[nearest]
        colours = self.colours[np.digitize(values, self.bounds)]
        return np.where(np.isfinite(values)[:, None], colours, unknown)

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
        few = len(self.faces) <= MOST_KEPT
        self._normals = unit_normals(self.points[self.faces]) if few else None

    def normals_of(self, facets: Ints) -> Floats:
        """Outward unit normals (n, 3) of ``facets``, zero where one has no area."""
        if self._normals is not None:
            return self._normals[facets]
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

    Returns
    -------
    Drawing
        The picture and the camera it was taken with.
    """
    colouring = None if colouring is None else colouring.grown()
    rows, columns = _window(stage, camera)
    pixels = np.full((camera.height, camera.width, 3), BACKGROUND, dtype=np.uint8)
    depth = np.full((camera.height, camera.width), -np.inf)

    def strip(top: int) -> None:
        own = slice(top, min(top + STRIP, rows.stop))
        pixels[own, columns], depth[own, columns] = _strip(stage, camera, colouring, own, columns)

    # Rays and look-ups run outside the interpreter's lock; strips keep their memory small.
    with ThreadPoolExecutor(os.cpu_count()) as threads:
        list(threads.map(strip, range(rows.start, rows.stop, STRIP)))
    return Drawing(Image.fromarray(pixels), camera, depth)


def _window(stage: Stage, camera: Camera) -> tuple[slice, slice]:
    """Rows and columns of the picture outside which nothing of the mesh lies."""
    low, high = box_of(camera.pixels(stage.points))
    most = np.array([camera.width, camera.height])
    left, top = np.clip(np.floor(low) - MARGIN, 0, most).astype(np.int64).tolist()
    right, bottom = np.clip(np.ceil(high) + MARGIN, 0, most).astype(np.int64).tolist()
    return slice(top, bottom), slice(left, right)


def _strip(
    stage: Stage, camera: Camera, colouring: Colouring | None, rows: slice, columns: slice
) -> tuple[NDArray[np.uint8], Floats]:
    """Pixels, and their depth, of some of the picture's rows and columns.

    One ray a pixel, and several where neighbouring pixels differ.
    """
    # A row more on both sides, so that edges are seen across strips.
    first, last = max(rows.start - 1, 0), min(rows.stop + 1, camera.height)
    row, column = np.mgrid[first:last, columns] + 0.5
    seen = _cast(stage, camera, column, row)
    changes = _changes(seen, camera)
    colours = _colours(seen, changes, colouring, camera)
    image = np.where(seen.hit[..., None], _lit(colours, seen, camera), BACKGROUND)
    fine = np.nonzero(changes)
    closer = _cast(
        stage,
        camera,
        (column[fine])[:, None, None] + FINE,
        (row[fine])[:, None, None] + FINE[:, None],
    )
    image[fine] = _smoothed(closer, colours[fine], seen.hit[fine], camera, colouring)
    pixels = np.clip(image, 0, 255).astype(np.uint8)
    front = np.where(seen.hit, seen.places @ camera.back, -np.inf)
    own = slice(rows.start - first, rows.stop - first)
    return pixels[own], front[own]


class _Seen(NamedTuple):
    """What rays meet, in the shape of the rays: hit or not, depth, outward normal, place."""

    hit: Mask
    depth: Floats
    normals: Floats
    places: Floats


def _cast(stage: Stage, camera: Camera, column: Floats, row: Floats) -> _Seen:
    """Cast parallel rays through points of the picture, in pixels."""
    across = (column - camera.width / 2) * camera.mm_per_pixel
    upward = (camera.height / 2 - row) * camera.mm_per_pixel
    lifted = camera.centre - stage.rays.middle
    if not camera.cut:
        lifted = lifted + 1.01 * stage.rays.span * camera.back
    origin = across[..., None] * camera.right + upward[..., None] * camera.up + lifted
    shape = origin.shape[:-1]
    origin = origin.reshape(-1, 3)
    depth, facet = stage.rays.cast(origin, np.broadcast_to(-camera.back, origin.shape))
    hit = facet >= 0
    depth = np.where(hit, depth, 0.0)
    places = origin - depth[:, None] * camera.back + stage.rays.middle
    normals = np.zeros_like(places)
    normals[hit] = stage.normals_of(facet[hit])
    if camera.cut:
        # A ray that leaves the part first began in it: there is the section, which faces the eye
        # from behind, so that it is told from any surface that is seen.
        inside = hit & (normals @ camera.back < 0.0)
        depth[inside], normals[inside] = 0.0, -camera.back
        places[inside] = origin[inside] + stage.rays.middle
    return _Seen(
        hit.reshape(shape),
        depth.reshape(shape),
        normals.reshape(*shape, 3),
        places.reshape(*shape, 3),
    )


def _differ(seen: _Seen, axis: int, fold: float, jump_mm: float) -> Mask:
    """Whether neighbours along an axis differ: one hit and not the other, a fold or a jump."""
    rest = (slice(None),) * axis
    here, before = (*rest, slice(1, None)), (*rest, slice(None, -1))
    folds = np.einsum("...k,...k->...", seen.normals[here], seen.normals[before]) < fold
    jumps = np.abs(seen.depth[here] - seen.depth[before]) > jump_mm
    both = seen.hit[here] & seen.hit[before] & (folds | jumps)
    differ: Mask = (seen.hit[here] != seen.hit[before]) | both
    return differ


def _changes(seen: _Seen, camera: Camera) -> Mask:
    """Pixels (rows, columns) that differ from a neighbour."""
    changes = np.zeros(seen.hit.shape, dtype=np.bool_)
    jump = JUMP * camera.mm_per_pixel
    down, across = (_differ(seen, axis, SLIGHT_FOLD, jump) for axis in (0, 1))
    changes[1:] |= down
    changes[:-1] |= down
    changes[:, 1:] |= across
    changes[:, :-1] |= across
    return changes


def _colours(seen: _Seen, changes: Mask, colouring: Colouring | None, camera: Camera) -> Floats:
    """Colour of what each pixel shows; one look-up serves four pixels of an even face."""
    colours = np.empty((*seen.hit.shape, 3))
    colours[:] = GREY
    if colouring is None or not seen.hit.any():
        return colours
    height, width = (2 * (length // 2) for length in seen.hit.shape)
    number = np.arange(seen.hit.size).reshape(seen.hit.shape)
    even = seen.hit & ~changes
    tiles = even[:height, :width].reshape(height // 2, 2, width // 2, 2).all(axis=(1, 3))
    alike = np.repeat(np.repeat(tiles, 2, axis=0), 2, axis=1)
    corner = np.repeat(np.repeat(number[:height:2, :width:2], 2, axis=0), 2, axis=1)
    number[:height, :width] = np.where(alike, corner, number[:height, :width])
    number = number[seen.hit]
    asked = np.zeros(seen.hit.size, dtype=np.bool_)
    asked[number] = True
    flat = colours.reshape(-1, 3)
    flat[asked] = colouring.at(
        seen.places.reshape(-1, 3)[asked], seen.normals.reshape(-1, 3)[asked], camera
    )
    flat[seen.hit.ravel()] = flat[number]
    return colours


def _lit(colours: Floats, seen: _Seen, camera: Camera) -> Floats:
    """Colours, 0 to 255, as bright as the surface faces the eye."""
    facing = seen.normals @ camera.back
    shade = 0.55 + 0.45 * np.abs(facing)
    if camera.cut:
        shade = np.where(facing < 0.0, 1.0, BEHIND_CUT * shade)
    return np.asarray(255.0 * colours * shade[..., None])


def _smoothed(
    closer: _Seen, colours: Floats, hit: Mask, camera: Camera, colouring: Colouring | None
) -> Floats:
    """Pixels (k, 3) at edges, from nine rays each: the mean of their own four, edges drawn."""
    own = _Seen(
        closer.hit[:, 1:, 1:],
        closer.depth[:, 1:, 1:],
        closer.normals[:, 1:, 1:],
        closer.places[:, 1:, 1:],
    )
    missed = ~hit & own.hit.any(axis=(1, 2))
    if colouring is not None and missed.any():
        # The middle of the pixel shows the background: its first ray that meets the part counts.
        pixel, ray = np.flatnonzero(missed), own.hit[missed].reshape(-1, 4).argmax(axis=1)
        places, normals = (
            values[pixel].reshape(-1, 4, 3)[np.arange(len(pixel)), ray]
            for values in (own.places, own.normals)
        )
        colours = colours.copy()
        colours[pixel] = colouring.at(places, normals, camera)
    jump = JUMP * camera.mm_per_pixel
    line = _differ(closer, 1, FOLD, jump)[:, :, 1:] | _differ(closer, 2, FOLD, jump)[:, 1:]
    lit = _lit(np.broadcast_to(colours[:, None, None], own.normals.shape), own, camera)
    lit = np.where(line[..., None], DARKER * lit, lit)
    return np.asarray(np.where(own.hit[..., None], lit, BACKGROUND).mean(axis=(1, 2)))
