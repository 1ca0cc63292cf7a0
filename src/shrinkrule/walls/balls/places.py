"""Samples joined into places: what belongs to one thin wall is one finding.

Two flagged samples belong together when they are neighbours on the same side, or
when the ball of one touches the other side next to the other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from shrinkrule.printer import Printer
from shrinkrule.walls.balls.spheres import ThicknessSamples
from shrinkrule.walls.findings import (
    FLAT_COSINE,
    Finding,
    FindingKind,
    Rule,
    as_vector,
    axis_of,
    boxes_meet,
)
from shrinkrule.walls.limits import MARGIN_MM, WallLimits

TOLD: Final = 1e-3
"""A ball may be told larger by this share: less of the surface than that is left inside it."""

ALIKE: Final = 1e-5
"""Thickness differs by nothing that matters below this share."""

NEIGHBOURS: Final = 24
"""Neighbours looked at when joining samples: a square grid has eight, but round a thin pin or
in a narrow hole more of them lie across than along."""

REACH: Final = 2.0
"""Neighbours are at most this many spacings apart."""

WEDGE_SHARE: Final = np.sin(np.radians(170.0) / 2.0)
"""Below this chord over diameter, faces meet at more than 10 degrees: a wedge."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def connected_places(
    samples: ThicknessSamples,
    flagged: NDArray[np.bool_],
    spacing_mm: float,
    same_side: float = 0.0,
) -> Iterator[Ints]:
    """Split flagged samples into connected places, each as indices of its samples.

    Neighbours are on one side when the cosine between their normals is over ``same_side``.
    """
    index = np.flatnonzero(flagged)
    count = len(index)
    if count == 0:
        return
    tree = cKDTree(samples.points[index])
    near = min(NEIGHBOURS, count)
    reach = REACH * spacing_mm
    _, beside = tree.query(
        samples.points[index], k=range(1, near + 1), distance_upper_bound=reach, workers=-1
    )
    one = np.repeat(np.arange(count), near)
    other = beside.ravel()
    exists = other < count
    one, other = one[exists], other[exists]
    normals = samples.normals[index]
    together = np.einsum("ij,ij->i", normals[one], normals[other]) > same_side
    _, across = tree.query(samples.contacts[index], distance_upper_bound=reach, workers=-1)
    touches = np.flatnonzero(across < count)
    rows = np.concatenate([one[together], touches])
    columns = np.concatenate([other[together], across[touches]])
    links = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(count, count))
    _, label = connected_components(links, directed=False)
    order = np.argsort(label, kind="stable")
    yield from np.split(index[order], np.flatnonzero(np.diff(label[order])) + 1)


def chord_directions(samples: ThicknessSamples) -> Floats:
    """Point from each sample to its ball's other contact, (n, 3) unit vectors."""
    chord = samples.contacts - samples.points
    length = np.linalg.norm(chord, axis=1, keepdims=True)
    pointing: Floats = np.divide(chord, length, out=-samples.normals, where=length > 0.0)
    return pointing


def place_finding(
    samples: ThicknessSamples,
    place: Ints,
    kind: FindingKind,
    limit_mm: float,
    extreme: int,
    directions: Floats,
) -> Finding:
    """Tell a place of samples by its ``extreme`` one."""
    both = np.vstack([samples.points[place], samples.contacts[place]])
    return Finding(
        kind=kind,
        rule=Rule.BALL,
        axis=axis_of(directions[extreme]),
        smallest_mm=float(samples.thickness[extreme]),
        limit_mm=limit_mm,
        position=as_vector((samples.points[extreme] + samples.contacts[extreme]) / 2.0),
        direction=as_vector(directions[extreme]),
        box=(as_vector(both.min(axis=0)), as_vector(both.max(axis=0))),
        area_mm2=float(samples.area[place].sum()),
    )


def thin_findings(
    samples: ThicknessSamples, printer: Printer, limits: WallLimits, spacing_mm: float
) -> list[Finding]:
    """Thin walls, single beads, thin floors and knife edges by the balls.

    Parameters
    ----------
    samples : ThicknessSamples
        Measured samples of the green part.
    printer : Printer
        Bead and layer.
    limits : WallLimits
        How many of them a wall needs.
    spacing_mm : float
        Spacing of the samples.
    """
    directions = chord_directions(samples)
    is_flat = np.abs(directions[:, 2]) >= FLAT_COSINE
    exist, sound = limits.exist_mm(printer), limits.sound_mm(printer)
    floor = limits.floor_mm(printer)
    measure = np.where(samples.is_wall, samples.thickness, np.inf)
    classes = (
        (FindingKind.THIN_FLOOR, floor, is_flat & (measure < floor - MARGIN_MM)),
        (FindingKind.THIN_WALL, exist, ~is_flat & (measure < exist - MARGIN_MM)),
        (
            FindingKind.SINGLE_BEAD,
            sound,
            ~is_flat & (measure >= exist - MARGIN_MM) & (measure < sound - MARGIN_MM),
        ),
    )
    chord = np.linalg.norm(samples.points - samples.contacts, axis=1)
    found = []
    for kind, limit, flagged in classes:
        for place in connected_places(samples, flagged, spacing_mm):
            extreme = _thinnest(samples, place)
            # Where a wall is thinnest its ball is held straight; in a wedge nowhere.
            is_wedge = float(chord[extreme]) < WEDGE_SHARE * float(samples.thickness[extreme])
            # The thicker strip beside a knife edge, or along the step from thin to thick.
            if is_wedge and kind is FindingKind.SINGLE_BEAD:
                continue
            named = FindingKind.KNIFE_EDGE if is_wedge else kind
            found.append(place_finding(samples, place, named, limit, extreme, directions))
    return _whole_edges(_without_steps(found, spacing_mm), spacing_mm)


def _without_steps(found: list[Finding], spacing_mm: float) -> list[Finding]:
    """Leave out what looks like a knife edge along the step from a thin place to a thick one.

    There the balls are held aslant too, but none is smaller than that of the place itself; a
    knife edge thins out further than what it lies beside.
    """
    straight = [one for one in found if one.kind is not FindingKind.KNIFE_EDGE]
    return [
        one
        for one in found
        if one.kind is not FindingKind.KNIFE_EDGE
        or not any(
            other.smallest_mm <= one.smallest_mm and boxes_meet(one, other, REACH * spacing_mm)
            for other in straight
        )
    ]


def _thinnest(samples: ThicknessSamples, place: Ints) -> int:
    """The thinnest sample of a place; of many alike the one nearest to its middle."""
    thickness = samples.thickness[place]
    alike = place[thickness <= thickness.min() * (1.0 + ALIKE)]
    off_middle = samples.points[alike] - samples.points[place].mean(axis=0)
    return int(alike[np.argmin(np.einsum("ij,ij->i", off_middle, off_middle))])


def _whole_edges(found: list[Finding], spacing_mm: float) -> list[Finding]:
    """Pieces of a knife edge whose boxes meet made one finding."""
    whole: list[Finding] = []
    for piece in found:
        if piece.kind is not FindingKind.KNIFE_EDGE:
            whole.append(piece)
            continue
        edge = piece
        for other in [one for one in whole if one.kind is FindingKind.KNIFE_EDGE]:
            if boxes_meet(edge, other, REACH * spacing_mm):
                whole.remove(other)
                thinner = min(edge, other, key=lambda one: one.smallest_mm)
                low = np.minimum(edge.box[0], other.box[0])
                high = np.maximum(edge.box[1], other.box[1])
                area = edge.area_mm2 + other.area_mm2
                box = (as_vector(low), as_vector(high))
                edge = replace(thinner, box=box, area_mm2=area)
        whole.append(edge)
    return whole


def thick_findings(samples: ThicknessSamples, limits: WallLimits) -> list[Finding]:
    """Sections thicker than the limit, by the balls; balls that share space are one section.

    Parameters
    ----------
    samples : ThicknessSamples
        Measured samples of the green part.
    limits : WallLimits
        The limit for thick sections.
    """
    directions = chord_directions(samples)
    passes = limits.thick_mm * (1.0 + TOLD) + MARGIN_MM
    thick = np.flatnonzero(samples.is_wall & (samples.thickness > passes))
    found = []
    for place in _sections(samples, thick, limits.thick_mm):
        extreme = int(place[np.argmax(samples.thickness[place])])
        found.append(
            place_finding(
                samples, place, FindingKind.THICK_SECTION, limits.thick_mm, extreme, directions
            )
        )
    return found


def _sections(samples: ThicknessSamples, index: Ints, thick_mm: float) -> Iterator[Ints]:
    """Split thick samples into sections, each as indices of its samples.

    Every ball is larger than ``thick_mm``, so two share space when their centres are nearer
    than that; centres are first gathered in cells of a quarter of it.
    """
    if len(index) == 0:
        return
    half = 0.5 * samples.thickness[index]
    centres = samples.points[index] - half[:, None] * samples.normals[index]
    cells, cell_of = np.unique(np.round(centres / (0.25 * thick_mm)), axis=0, return_inverse=True)
    links = cKDTree(cells).query_pairs(4.0, output_type="ndarray")
    count = len(cells)
    graph = coo_array((np.ones(len(links), dtype=np.int8), links.T), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    of_sample = label[cell_of.ravel()]
    order = np.argsort(of_sample, kind="stable")
    yield from np.split(index[order], np.flatnonzero(np.diff(of_sample[order])) + 1)
