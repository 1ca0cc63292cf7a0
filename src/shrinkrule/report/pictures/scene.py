"""Pictures of a part without a screen: rays, colour by value, drawn by Pillow.

Views are parallel projections in the print frame, so a length in a picture is the
same everywhere in it. The picture's own frame is returned with it, so that marks
can be put on points of the part.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
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
from shrinkrule.report.pictures.camera import Camera

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
    background shows. ``plain`` is the same picture in grey, where that was asked for.
    """

    image: Image.Image
    camera: Camera
    depth_mm: Floats
    plain: Image.Image | None = None

    def depth_behind(self, points: Floats) -> Floats:
        """How far (n,) points (n, 3) lie behind what the picture shows, mm; inf outside it."""
        column, row = self.camera.pixels(points).astype(np.int64).T
        inside = (column >= 0) & (column < self.camera.width)
        inside &= (row >= 0) & (row < self.camera.height)
        front = np.full(len(points), np.inf)
        front[inside] = self.depth_mm[row[inside], column[inside]]
        behind: Floats = front - points @ self.camera.back
        return behind


def draw(
    stage: Stage, camera: Camera, colouring: Colouring | None, *, plain: bool = False
) -> Drawing:
    """Picture of a mesh.

    Parameters
    ----------
    stage : Stage
        The mesh.
    camera : Camera
        From where.
    colouring : Colouring or None
        What colours mean; without it the part is grey.
    plain : bool
        Whether to make the grey picture too, of the same rays.

    Returns
    -------
    Drawing
        The picture and the camera it was taken with.
    """
    colouring = None if colouring is None else colouring.grown()
    rows, columns = _window(stage, camera)
    colourings = (colouring, None) if plain else (colouring,)
    pixels = np.full((len(colourings), camera.height, camera.width, 3), BACKGROUND, dtype=np.uint8)
    depth = np.full((camera.height, camera.width), -np.inf)

    def strip(top: int) -> None:
        own = slice(top, min(top + STRIP, rows.stop))
        painted, front = _strip(stage, camera, colourings, own, columns)
        pixels[:, own, columns], depth[own, columns] = painted, front

    # Rays and look-ups run outside the interpreter's lock; strips keep their memory small.
    with ThreadPoolExecutor(os.cpu_count()) as threads:
        list(threads.map(strip, range(rows.start, rows.stop, STRIP)))
    images = [Image.fromarray(one) for one in pixels]
    return Drawing(images[0], camera, depth, images[1] if plain else None)


def _window(stage: Stage, camera: Camera) -> tuple[slice, slice]:
    """Rows and columns of the picture outside which nothing of the mesh lies."""
    low, high = box_of(camera.pixels(stage.points))
    most = np.array([camera.width, camera.height])
    left, top = np.clip(np.floor(low) - MARGIN, 0, most).astype(np.int64).tolist()
    right, bottom = np.clip(np.ceil(high) + MARGIN, 0, most).astype(np.int64).tolist()
    return slice(top, bottom), slice(left, right)


def _strip(
    stage: Stage,
    camera: Camera,
    colourings: Sequence[Colouring | None],
    rows: slice,
    columns: slice,
) -> tuple[NDArray[np.uint8], Floats]:
    """Pixels in each colouring, and their depth, of some of the picture's rows and columns.

    One ray a pixel, and several where neighbouring pixels differ.
    """
    # A row more on both sides, so that edges are seen across strips.
    first, last = max(rows.start - 1, 0), min(rows.stop + 1, camera.height)
    row, column = np.mgrid[first:last, columns] + 0.5
    seen = _cast(stage, camera, column, row)
    changes = _changes(seen, camera)
    fine = np.nonzero(changes)
    closer = _cast(
        stage,
        camera,
        (column[fine])[:, None, None] + FINE,
        (row[fine])[:, None, None] + FINE[:, None],
    )
    own = slice(rows.start - first, rows.stop - first)
    painted = []
    for colouring in colourings:
        colours = _colours(stage, seen, changes, colouring, camera)
        image = np.where(seen.hit[..., None], _lit(colours, seen, camera), BACKGROUND)
        image[fine] = _smoothed(stage, closer, colours[fine], seen.hit[fine], camera, colouring)
        painted.append(np.clip(image[own], 0, 255).astype(np.uint8))
    start = float((_eye(stage, camera) + stage.rays.middle) @ camera.back)
    front = np.where(seen.hit, start - seen.depth, -np.inf)
    return np.stack(painted), front[own]


class _Seen(NamedTuple):
    """What rays meet, in the shape of the rays: hit or not, depth, facet, outward normal.

    ``right`` and ``up`` tell where the rays start, from the middle of the picture, mm.
    """

    hit: Mask
    depth: Floats
    facets: Ints
    normals: Floats
    right: Floats
    up: Floats


_SECTION: Final = -2  # instead of a facet, where a cut goes through the part


def _eye(stage: Stage, camera: Camera) -> Floats:
    """Where the ray through the middle of the picture starts (3,), from the middle of the mesh."""
    lifted: Floats = camera.centre - stage.rays.middle
    return lifted if camera.cut else lifted + 1.01 * stage.rays.span * camera.back


def _cast(stage: Stage, camera: Camera, column: Floats, row: Floats) -> _Seen:
    """Cast parallel rays through points of the picture, in pixels."""
    right, up = np.broadcast_arrays(
        (column - camera.width / 2) * camera.mm_per_pixel,
        (camera.height / 2 - row) * camera.mm_per_pixel,
    )
    origin = right[..., None] * camera.right + up[..., None] * camera.up
    origin += _eye(stage, camera)
    shape = right.shape
    origin = origin.reshape(-1, 3)
    depth, facets = stage.rays.cast(origin, np.broadcast_to(-camera.back, origin.shape))
    hit = facets >= 0
    depth = np.where(hit, depth, 0.0)
    normals = np.zeros_like(origin)
    normals[hit] = stage.normals_of(facets[hit])
    if camera.cut:
        # A ray that leaves the part first began in it: there is the section, which faces the eye
        # from behind, so that it is told from any surface that is seen.
        inside = hit & (normals @ camera.back < 0.0)
        depth[inside], normals[inside], facets[inside] = 0.0, -camera.back, _SECTION
    return _Seen(
        hit.reshape(shape),
        depth.reshape(shape),
        facets.reshape(shape),
        normals.reshape(*shape, 3),
        right,
        up,
    )


def _places(stage: Stage, camera: Camera, seen: _Seen, chosen: Mask | tuple[Ints, ...]) -> Floats:
    """Where some of the rays end, (k, 3) mm."""
    right, up, depth = (values[chosen][:, None] for values in (seen.right, seen.up, seen.depth))
    start = _eye(stage, camera) + stage.rays.middle
    places: Floats = right * camera.right + up * camera.up + start - depth * camera.back
    return places


def _differ(seen: _Seen, axis: int, fold: float, jump_mm: float) -> Mask:
    """Whether neighbours along an axis differ: one hit and not the other, a fold or a jump."""
    rest = (slice(None),) * axis
    here, before = (*rest, slice(1, None)), (*rest, slice(None, -1))
    both = seen.hit[here] & seen.hit[before]
    # One facet has no fold in it.
    other = np.nonzero(both & (seen.facets[here] != seen.facets[before]))
    turned = np.einsum("nk,nk->n", seen.normals[here][other], seen.normals[before][other])
    folds = np.zeros(both.shape, dtype=np.bool_)
    folds[other] = turned < fold
    jumps = np.abs(seen.depth[here] - seen.depth[before]) > jump_mm
    differ: Mask = (seen.hit[here] != seen.hit[before]) | (both & (folds | jumps))
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


def _colours(
    stage: Stage, seen: _Seen, changes: Mask, colouring: Colouring | None, camera: Camera
) -> Floats:
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
    chosen = asked.reshape(seen.hit.shape)
    places = _places(stage, camera, seen, chosen)
    flat[asked] = colouring.at(places, seen.normals[chosen], camera)
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
    stage: Stage,
    closer: _Seen,
    colours: Floats,
    hit: Mask,
    camera: Camera,
    colouring: Colouring | None,
) -> Floats:
    """Pixels (k, 3) at edges, from nine rays each: the mean of their own four, edges drawn."""
    own = _Seen._make(values[:, 1:, 1:] for values in closer)
    missed = ~hit & own.hit.any(axis=(1, 2))
    if colouring is not None and missed.any():
        # The middle of the pixel shows the background: its first ray that meets the part counts.
        pixel, ray = np.flatnonzero(missed), own.hit[missed].reshape(-1, 4).argmax(axis=1)
        which = (pixel, *np.divmod(ray, 2))
        places, normals = _places(stage, camera, own, which), own.normals[which]
        colours = colours.copy()
        colours[pixel] = colouring.at(places, normals, camera)
    jump = JUMP * camera.mm_per_pixel
    line = _differ(closer, 1, FOLD, jump)[:, :, 1:] | _differ(closer, 2, FOLD, jump)[:, 1:]
    lit = _lit(np.broadcast_to(colours[:, None, None], own.normals.shape), own, camera)
    lit = np.where(line[..., None], DARKER * lit, lit)
    return np.asarray(np.where(own.hit[..., None], lit, BACKGROUND).mean(axis=(1, 2)))
