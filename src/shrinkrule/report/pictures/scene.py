"""Pictures of a part without a screen: rays, colour by value, drawn by Pillow.

Views are parallel projections in the print frame, so a length in a picture is the
same everywhere in it. The picture's own frame is returned with it, so that marks
can be put on points of the part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh
from PIL import Image

from shrinkrule.mesh import rays_of
from shrinkrule.numerics.arrays import Floats, Ints, Mask, box_of
from shrinkrule.numerics.threads import of_each
from shrinkrule.numerics.triangles import unit_normals
from shrinkrule.report.pictures.camera import Camera
from shrinkrule.report.pictures.colouring import GREY, Colouring, Computed

BACKGROUND: Final = (255, 255, 255)

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

FINE: Final = np.array([-0.25, 0.25])
"""Rays through a pixel at an edge, from its middle, along each axis: they hide the stairs."""

_NOTHING: Final = -1  # instead of a facet, where a ray meets none
_SECTION: Final = -2  # where a cut goes through the part


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
        self.rays = rays_of(mesh)
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


def draw_all(
    stage: Stage,
    cameras: Sequence[Camera],
    colouring: Colouring | Computed | None,
    *,
    plain: bool = False,
) -> list[Drawing]:
    """Pictures of a mesh from several sides, each as :func:`draw` makes it.

    Parameters
    ----------
    stage : Stage
        The mesh.
    cameras : sequence of Camera
        From where.
    colouring : Colouring, Computed or None
        What colours mean; without it the part is grey.
    plain : bool
        Whether to make the grey pictures too, of the same rays.

    Returns
    -------
    list of Drawing
        One for each camera.
    """
    if colouring is not None:
        colouring.grown()
    # Rays and look-ups run outside the interpreter's lock.
    return of_each(lambda one: draw(stage, one, colouring, plain=plain), cameras)


def draw(
    stage: Stage,
    camera: Camera,
    colouring: Colouring | Computed | None,
    *,
    plain: bool = False,
) -> Drawing:
    """Picture of a mesh: one ray a pixel, and four where neighbouring pixels differ.

    Parameters
    ----------
    stage : Stage
        The mesh.
    camera : Camera
        From where.
    colouring : Colouring, Computed or None
        What colours mean; without it the part is grey.
    plain : bool
        Whether to make the grey picture too, of the same rays.

    Returns
    -------
    Drawing
        The picture and the camera it was taken with.
    """
    rows, columns = _window(stage, camera)
    down, across = (np.arange(one.start, one.stop) + 0.5 for one in (rows, columns))
    seen = _Seen(stage, camera, across, down[:, None])
    changes = _changes(seen, camera)
    edges = np.flatnonzero(changes)
    row, column = down[edges // len(across)], across[edges % len(across)]
    closer = _Seen(stage, camera, column[:, None, None] + FINE, row[:, None, None] + FINE[:, None])
    light, empty = _smoothed(closer, _numbers(edges, changes.shape), camera)
    shade = seen.shade()
    images = []
    for one in (colouring, None) if plain else (colouring,):
        colours, at_edges = _colours(seen, closer, changes, edges, one)
        inner = np.full((changes.size, 3), BACKGROUND, dtype=np.uint8)
        inner[seen.hits] = 255.0 * colours * shade[:, None]
        inner[edges] = 255.0 * (at_edges * light[:, None] + empty[:, None])
        image = np.full((camera.height, camera.width, 3), BACKGROUND, dtype=np.uint8)
        image[rows, columns] = inner.reshape(*changes.shape, 3)
        images.append(Image.fromarray(image))
    front = np.full(changes.size, -np.inf)
    front[seen.hits] = seen.start_mm - seen.depth.ravel()[seen.hits]
    depth = np.full((camera.height, camera.width), -np.inf)
    depth[rows, columns] = front.reshape(changes.shape)
    return Drawing(images[0], camera, depth, images[1] if plain else None)


def _window(stage: Stage, camera: Camera) -> tuple[slice, slice]:
    """Rows and columns of the picture outside which nothing of the mesh lies."""
    low, high = box_of(camera.pixels(stage.points))
    most = np.array([camera.width, camera.height])
    left, top = np.clip(np.floor(low) - MARGIN, 0, most).astype(np.int64).tolist()
    right, bottom = np.clip(np.ceil(high) + MARGIN, 0, most).astype(np.int64).tolist()
    return slice(top, bottom), slice(left, right)


class _Seen:
    """What parallel rays through points of the picture meet.

    Attributes
    ----------
    facets, depth : (...) int64, (...) float64
        In the shape of the rays: the facet or what stands for it, and how far away, mm.
    hits : (k,) int64
        Which of the rays meet the part.
    normals : (k, 3) float64
        Outward unit normals there.
    slot : (n,) int64
        Place of each ray among ``hits``, -1 where it meets nothing.
    start_mm : float
        How far towards the eye the rays start.
    """

    def __init__(self, stage: Stage, camera: Camera, column: Floats, row: Floats) -> None:
        self.camera = camera
        start = camera.centre - stage.rays.middle
        if not camera.cut:
            start = start + 1.01 * stage.rays.span * camera.back
        right = ((column - camera.width / 2) * camera.mm_per_pixel)[..., None] * camera.right
        up = ((camera.height / 2 - row) * camera.mm_per_pixel)[..., None] * camera.up
        origins = (right + start) + up
        shape = origins.shape[:-1]
        self._origins, self._middle = origins.reshape(-1, 3), stage.rays.middle
        depth, facets = stage.rays.cast(
            self._origins, np.broadcast_to(-camera.back, self._origins.shape)
        )
        self.hits = np.flatnonzero(facets >= 0)
        depth[facets < 0] = 0.0
        self.normals = stage.normals_of(facets[self.hits])
        if camera.cut:
            # A ray that leaves the part first began in it: there is the section, which faces the
            # eye from behind, so that it is told from any surface that is seen.
            inside = self.normals @ camera.back < 0.0
            self.normals[inside] = -camera.back
            depth[self.hits[inside]], facets[self.hits[inside]] = 0.0, _SECTION
        self.slot = np.full(len(facets), -1, dtype=np.int64)
        self.slot[self.hits] = np.arange(len(self.hits))
        self.facets, self.depth = facets.reshape(shape), depth.reshape(shape)
        self.start_mm = float((start + stage.rays.middle) @ camera.back)

    def colours(self, which: Ints, colouring: Colouring | Computed) -> Floats:
        """Colours (m, 3) of what some of the hits show."""
        rays = self.hits[which]
        depth = self.depth.ravel()[rays][:, None]
        places = (self._origins[rays] + self._middle) - depth * self.camera.back
        return colouring.at(places, self.normals[which], self.facets.ravel()[rays], self.camera)

    def shade(self) -> Floats:
        """Brightness (k,) of the hits: as the surface faces the eye."""
        facing = self.normals @ self.camera.back
        shade: Floats = 0.55 + 0.45 * np.abs(facing)
        return np.where(facing < 0.0, 1.0, BEHIND_CUT * shade) if self.camera.cut else shade

    def differ(self, here: Ints, there: Ints, fold: float) -> Mask:
        """Whether pairs (m,) of rays differ: one hit and not the other, a fold or a jump."""
        facets, depth = self.facets.ravel(), self.depth.ravel()
        one, other = facets[here], facets[there]
        jump = JUMP * self.camera.mm_per_pixel
        differ: Mask = (one == _NOTHING) != (other == _NOTHING)
        differ |= np.abs(depth[here] - depth[there]) > jump
        # One facet has no fold in it.
        asked = np.flatnonzero(~differ & (one != other))
        turned = np.einsum(
            "nk,nk->n",
            self.normals[self.slot[here[asked]]],
            self.normals[self.slot[there[asked]]],
        )
        differ[asked] = turned < fold
        return differ


def _changes(seen: _Seen, camera: Camera) -> Mask:
    """Pixels (rows, columns) that differ from a neighbour."""
    number = np.arange(seen.facets.size).reshape(seen.facets.shape)
    changes = np.zeros(seen.facets.shape, dtype=np.bool_)
    for here, before in (
        ((slice(1, None),), (slice(None, -1),)),
        ((slice(None), slice(1, None)), (slice(None), slice(None, -1))),
    ):
        pairs = number[here].ravel(), number[before].ravel()
        differ = seen.differ(*pairs, SLIGHT_FOLD).reshape(number[here].shape)
        changes[here] |= differ
        changes[before] |= differ
    return changes


def _numbers(edges: Ints, shape: tuple[int, ...]) -> tuple[Ints, Ints]:
    """Number (k,) among the edges of the pixel to the left of each and of that above it, or -1."""
    number = np.full((shape[0] + 1, shape[1] + 1), -1, dtype=np.int64)
    row, column = np.divmod(edges, shape[1])
    number[row + 1, column + 1] = np.arange(len(edges))
    return number[row + 1, column], number[row, column + 1]


def _smoothed(closer: _Seen, beside: tuple[Ints, Ints], camera: Camera) -> tuple[Floats, Floats]:
    """How bright pixels (k,) at edges are, and which share of each is empty.

    The mean of four rays each; a ray that differs from that to its left or above it is on a line.
    """
    left, above = beside
    ray = np.arange(closer.facets.size).reshape(-1, 2, 2)
    has_left, has_above = np.flatnonzero(left >= 0), np.flatnonzero(above >= 0)
    here = (ray[:, :, 1], ray[:, 1], ray[has_left, :, 0], ray[has_above, 0])
    there = (ray[:, :, 0], ray[:, 0], ray[left[has_left], :, 1], ray[above[has_above], 1])
    ends = np.concatenate([one.ravel() for one in here])
    line = np.zeros(ray.size, dtype=np.bool_)
    starts = np.concatenate([one.ravel() for one in there])
    line[ends[closer.differ(ends, starts, FOLD)]] = True
    light = np.zeros(ray.size)
    light[closer.hits] = closer.shade()
    light[line] *= DARKER
    empty = closer.facets.reshape(-1, 4) == _NOTHING
    return light.reshape(-1, 4).mean(axis=1), empty.mean(axis=1)


def _colours(
    seen: _Seen, closer: _Seen, changes: Mask, edges: Ints, colouring: Colouring | Computed | None
) -> tuple[Floats, Floats]:
    """Colours of the hits (k, 3) and of the pixels at edges (m, 3)."""
    if colouring is None:
        return np.broadcast_to(GREY, (len(seen.hits), 3)), np.broadcast_to(GREY, (len(edges), 3))
    like = _alike(seen, changes)
    asked = np.zeros(len(seen.hits), dtype=np.bool_)
    asked[like] = True
    which = np.flatnonzero(asked)
    colours = np.empty((len(seen.hits), 3))
    colours[which] = seen.colours(which, colouring)
    colours = colours[like]
    at_edges = np.tile(GREY, (len(edges), 1))
    slot = seen.slot[edges]
    at_edges[slot >= 0] = colours[slot[slot >= 0]]
    # Where the middle shows the background, the first ray of the pixel that meets the part counts.
    fine = closer.slot.reshape(-1, 4)
    missed = np.flatnonzero((slot < 0) & (fine >= 0).any(axis=1))
    if len(missed):
        first = fine[missed, (fine[missed] >= 0).argmax(axis=1)]
        at_edges[missed] = closer.colours(first, colouring)
    return colours, at_edges


def _alike(seen: _Seen, changes: Mask) -> Ints:
    """For each hit (k,) that of which it has the colour: one of four pixels of an even face."""
    height, width = (2 * (length // 2) for length in changes.shape)
    slot = seen.slot.reshape(changes.shape).copy()
    even = (slot >= 0) & ~changes
    four = even[:height, :width].reshape(height // 2, 2, width // 2, 2).all(axis=(1, 3))
    row, column = (2 * one for one in np.nonzero(four))
    corner = slot[row, column]
    slot[row, column + 1] = slot[row + 1, column] = slot[row + 1, column + 1] = corner
    like: Ints = slot.ravel()[seen.hits]
    return like
