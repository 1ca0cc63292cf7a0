"""Thin samples joined into regions, each named by how its area is held.

A region is a wall, a floor, a pin (thin in two directions) or the edge where two faces meet,
by all of its samples and not by its thinnest one. Which of these is asked of each sample
(docs/theory-walls.md); connected samples of one kind are one region, and a small region that
goes on smoothly from a larger one belongs to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.printer import Printer
from shrinkrule.walls.findings import (
    FLAT_COSINE,
    Finding,
    FindingKind,
    Rule,
    Weight,
    as_vector,
    axis_of,
)
from shrinkrule.walls.limits import MARGIN_MM, WallLimits
from shrinkrule.walls.thickness.local import LocalWalls
from shrinkrule.walls.thickness.pins import find_pins
from shrinkrule.walls.thickness.spheres import ThicknessSamples

ALIKE: Final = 1e-5
"""Thickness differs by nothing that matters below this share."""

NEIGHBOURS: Final = 24
"""Neighbours looked at when joining samples: a square grid has eight, but round a thin pin or
in a narrow hole more of them lie across than along."""

REACH: Final = 2.0
"""Neighbours are at most this many spacings apart."""

SMOOTH_COSINE: Final = 0.85
"""Cosine between normals of neighbours above which the surface goes on without a crease."""

PART_SHARE: Final = 0.3
"""A region with less than this share of the area of one that it goes on from belongs to it."""

FRINGE_SHARE: Final = 0.1
"""The same whether it goes on smoothly or not."""

NODE_REACH: Final = 1.5
"""How far apart, in sound walls, struts may end at one node."""

NODE_SHARE: Final = 0.15
"""Side, in sound walls, of the cubes of which one centre each is looked from."""

FLANK_REACH: Final = 2.0
"""How far from a wall its flanks are counted with it, in beads."""

FLAW_AREA: Final = 0.01
"""Area in square beads below which a region is a flaw of the mesh, unless it is long."""

FLAW_SHARE: Final = 0.25
"""Share of the usual thickness of a region under which such a speck in it is a flaw."""

FLAW_SIZE: Final = 0.25
"""Size in beads up to which it is none that matters."""

EDGE_AREA: Final = 0.1
"""Least area of a knife edge, in square beads; the corner of a block loses less."""

RIM_SHARE: Final = 0.8
"""Share of the largest depth lost from which on a sample lies at the very rim."""

RIM_SAMPLES: Final = 12
"""Samples at the rim of an edge; with fewer it is a tip."""

TIP_SIZE: Final = 2.0
"""Size of an edge, in depths lost, under which it is a tip."""

FOOT_COSINE: Final = float(np.cos(np.radians(5.0)))
"""Cosine between a level face and the layers, at least."""

BLUNT_IN_PLAN: Final = 0.75
"""Beads that layers lose of a tip, up to which it is the corner of something: 47 degrees."""

POINTED: Final = 0.25
"""Share of a bead to which an edge must thin out to be one, beside a thin wall."""

NONE: Final = -1

SHEETS: Final = (FindingKind.THIN_WALL, FindingKind.THIN_FLOOR, FindingKind.THIN_PIN)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

KINDS: Final = tuple(FindingKind)
NUMBER: Final = {kind: number for number, kind in enumerate(KINDS)}


@dataclass(frozen=True)
class Regions:
    """Thin regions of a part.

    Parameters
    ----------
    findings : tuple of Finding
        One for each.
    of_sample : (n,) int64
        The finding that each sample belongs to, -1 for none.
    """

    findings: tuple[Finding, ...]
    of_sample: Ints


def links_between(
    samples: ThicknessSamples,
    index: Ints,
    ends: Floats,
    spacing_mm: float,
    same_side: float = 0.0,
) -> tuple[Ints, Ints]:
    """Pairs of samples (as places in ``index``) that belong together.

    Neighbours on one side of the surface do, and samples at which the ball of another one ends.

    Parameters
    ----------
    samples : ThicknessSamples
        All samples.
    index : (k,) int64
        Those that are asked for.
    ends : (k, 2, 3) float64
        Where the ball of each touches the two sides, mm.
    spacing_mm : float
        Spacing of the samples.
    same_side : float
        Cosine between normals above which two neighbours lie on one side.
    """
    count = len(index)
    points, normals = samples.points[index], samples.normals[index]
    tree = cKDTree(points)
    near, reach = min(NEIGHBOURS, count), REACH * spacing_mm
    _, beside = tree.query(points, k=range(1, near + 1), distance_upper_bound=reach, workers=-1)
    one, other = np.repeat(np.arange(count), near), beside.ravel()
    exists = (other < count) & (one != other)
    one, other = one[exists], other[exists]
    together = np.einsum("ij,ij->i", normals[one], normals[other]) > same_side
    rows, columns = [one[together]], [other[together]]
    for end in (0, 1):
        _, across = tree.query(ends[:, end], distance_upper_bound=reach, workers=-1)
        touches = np.flatnonzero((across < count) & (across != np.arange(count)))
        # The side that looks away from the ball, not one that turns its back on it.
        way = ends[touches, end] - ends[touches, 1 - end]
        faces = np.einsum("ij,ij->i", way, normals[across[touches]]) > 0.0
        rows.append(touches[faces])
        columns.append(across[touches[faces]])
    return np.concatenate(rows), np.concatenate(columns)


def labelled(count: int, links: tuple[Ints, Ints]) -> Ints:
    """Number of the connected group of each of ``count`` things."""
    graph = coo_array((np.ones(len(links[0]), dtype=np.int8), links), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    return np.asarray(label, dtype=np.int64)


def groups_of(label: Ints) -> list[Ints]:
    """Indices of the members of each group, in order of their numbers."""
    if not len(label):
        return []
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1)


def thin_regions(
    rays: Rays,
    samples: ThicknessSamples,
    walls: LocalWalls,
    printer: Printer,
    limits: WallLimits,
    spacing_mm: float,
) -> Regions:
    """Thin walls, floors and pins, single beads and knife edges.

    Parameters
    ----------
    rays : Rays
        Of the green part, print frame.
    samples : ThicknessSamples
        Its measured samples.
    walls : LocalWalls
        The wall that each belongs to.
    printer, limits : Printer, WallLimits
        What walls are held against.
    spacing_mm : float
        Spacing of the samples.
    """
    work = _Regions(rays, samples, walls, printer, limits, spacing_mm)
    work.walls_and_pins()
    work.knife_edges()
    return Regions(tuple(work.findings), work.of_sample)


class _Regions:
    """The regions found so far."""

    def __init__(
        self,
        rays: Rays,
        samples: ThicknessSamples,
        walls: LocalWalls,
        printer: Printer,
        limits: WallLimits,
        spacing_mm: float,
    ) -> None:
        self.rays, self.samples, self.walls, self.spacing = rays, samples, walls, spacing_mm
        self.exist, self.sound = limits.exist_mm(printer), limits.sound_mm(printer)
        self.floor = limits.floor_mm(printer)
        self.bead = printer.bead_width_mm
        self.directions = walls.directions
        self.findings: list[Finding] = []
        self.of_sample: Ints = np.full(len(samples.thickness), NONE, dtype=np.int64)

    def walls_and_pins(self) -> None:
        """Find all that two sides hold: walls, floors and pins."""
        samples, walls = self.samples, self.walls
        largest = max(self.sound, self.floor) - MARGIN_MM
        index = np.flatnonzero(walls.thickness < largest)
        if not len(index):
            return
        thickness = walls.thickness[index]
        pins = find_pins(self.rays, walls.centres[index], self.directions[index], thickness)
        thickness = np.where(pins.is_pin, np.maximum(pins.thickness, thickness), thickness)
        kind = self._kinds(index, thickness, pins.is_pin)
        kept = kind != NONE
        index, kind, thickness = index[kept], kind[kept], thickness[kept]
        if not len(index):
            return
        flanks, kind_of_flank = self._flanks(index, kind, thickness)
        index = np.concatenate([index, flanks])
        kind = np.concatenate([kind, kind_of_flank])
        thickness = np.concatenate([thickness, samples.thickness[flanks]])
        ends = walls.ends[index]
        one, other = links_between(samples, index, ends, self.spacing)
        alike = kind[one] == kind[other]
        label = labelled(len(index), (one[alike], other[alike]))
        label = self._through_nodes(label, kind, walls.centres[index])
        normals = samples.normals[index]
        smooth = np.einsum("ij,ij->i", normals[one], normals[other]) > SMOOTH_COSINE
        label = _with_their_fringes(
            label, kind, samples.area[index], (one[~alike], other[~alike]), smooth[~alike]
        )
        for place in groups_of(label):
            self._add_wall(index[place], kind[place], thickness[place])

    def _through_nodes(self, label: Ints, kind: Ints, centres: Floats) -> Ints:
        """Label groups anew, struts that a thicker node joins as one net."""
        reach = NODE_REACH * self.sound
        links = []
        for number in (NUMBER[FindingKind.THIN_PIN], NUMBER[FindingKind.SINGLE_BEAD_PIN]):
            pins = np.flatnonzero(kind == number)
            if len(np.unique(label[pins])) < 2:
                continue
            cube = np.floor(centres[pins] / (NODE_SHARE * self.sound)).astype(np.int64)
            _, first = np.unique(np.column_stack([cube, label[pins]]), axis=0, return_index=True)
            pins = pins[first]
            pairs = cKDTree(centres[pins]).query_pairs(reach, output_type="ndarray")
            pairs = pins[pairs[label[pins[pairs[:, 0]]] != label[pins[pairs[:, 1]]]]]
            way = centres[pairs[:, 1]] - centres[pairs[:, 0]]
            length = np.linalg.norm(way, axis=1)
            pairs, way, length = pairs[length > 0.0], way[length > 0.0], length[length > 0.0]
            starts = centres[pairs[:, 0]] - self.rays.middle
            free, _ = self.rays.cast(starts, way / length[:, None])
            links.append(label[pairs[free > length]])
        if not links:
            return label
        joined = np.concatenate(links)
        return labelled(int(label.max()) + 1, (joined[:, 0], joined[:, 1]))[label]

    def _flanks(self, index: Ints, kind: Ints, thickness: Floats) -> tuple[Ints, Ints]:
        """Samples beside thin walls that widen from them but are under their limit still.

        There the sides of a web between two bores, or of a neck, meet at an angle, so that a
        ball grows on from them; but the wall is as thin there as its own ball tells.
        """
        samples = self.samples
        limits = np.zeros(len(KINDS))
        for number, of_kind in enumerate(KINDS):
            limits[number] = self._limits_of(of_kind)[0]
        free = samples.is_wall & (samples.thickness < limits[kind].max() - MARGIN_MM)
        free[index] = False
        beside = np.flatnonzero(free)
        if not len(beside):
            return beside, beside
        distance, nearest = cKDTree(samples.points[index]).query(
            samples.points[beside], distance_upper_bound=FLANK_REACH * self.bead, workers=-1
        )
        near = np.isfinite(distance)
        beside, nearest = beside[near], nearest[near]
        smooth = np.einsum("ij,ij->i", samples.normals[beside], samples.normals[index[nearest]])
        flank = (smooth > SMOOTH_COSINE) & (samples.thickness[beside] >= thickness[nearest])
        flank &= samples.thickness[beside] < limits[kind[nearest]] - MARGIN_MM
        return beside[flank], kind[nearest[flank]]

    def _limits_of(self, kind: FindingKind) -> tuple[float, float | None]:
        """What a kind is held against to print, and to be sound where that is more."""
        if kind is FindingKind.THIN_FLOOR:
            return self.floor, None
        if kind in (FindingKind.SINGLE_BEAD, FindingKind.SINGLE_BEAD_PIN):
            return self.sound, None
        return self.exist, self.sound

    def _kinds(self, index: Ints, thickness: Floats, is_pin: Bools) -> Ints:
        """Number of the kind of each thin sample, -1 for one that passes its limit."""
        level = (np.abs(self.directions[index, 2]) >= FLAT_COSINE) & ~is_pin
        kind = np.full(len(index), NONE, dtype=np.int64)
        sound, exist = thickness < self.sound - MARGIN_MM, thickness < self.exist - MARGIN_MM
        kind[sound & is_pin] = NUMBER[FindingKind.SINGLE_BEAD_PIN]
        kind[exist & is_pin] = NUMBER[FindingKind.THIN_PIN]
        kind[sound & ~is_pin & ~level] = NUMBER[FindingKind.SINGLE_BEAD]
        kind[exist & ~is_pin & ~level] = NUMBER[FindingKind.THIN_WALL]
        kind[level & (thickness < self.floor - MARGIN_MM)] = NUMBER[FindingKind.THIN_FLOOR]
        return kind

    def _add_wall(self, place: Ints, kinds: Ints, thickness: Floats) -> None:
        """Add a connected region, named by the kind of most of its area."""
        area = self.samples.area[place]
        weight = np.bincount(kinds, weights=area + 1e-9 * self.spacing**2, minlength=len(KINDS))
        kind = KINDS[int(weight.argmax())]
        own = kinds == NUMBER[kind]
        # The thinnest is that of a ball of its own, where there is one.
        straight = own & self.walls.own[place]
        chosen = np.flatnonzero(straight if straight.any() else own)
        chosen = self._without_flaws(chosen, thickness, area)
        least = thickness[chosen]
        alike = chosen[least <= least.min() * (1.0 + ALIKE)]
        off_middle = self.samples.points[place[alike]] - self.samples.points[place].mean(axis=0)
        at = int(alike[np.argmin(np.einsum("ij,ij->i", off_middle, off_middle))])
        limit, sound = self._limits_of(kind)
        self._add(place, kind, float(thickness[at]), limit, int(place[at]), sound_mm=sound)

    def _without_flaws(self, chosen: Ints, thickness: Floats, area: Floats) -> Ints:
        """Leave out what is far thinner than the rest on next to no area."""
        flaws = thickness[chosen] < FLAW_SHARE * np.median(thickness[chosen])
        speck = max(FLAW_AREA * self.bead**2, FLAW_AREA * float(area[chosen].sum()))
        return chosen[~flaws] if area[chosen][flaws].sum() < speck else chosen

    def knife_edges(self) -> None:
        """Find edges so sharp that more than their limit of depth is lost."""
        samples, walls = self.samples, self.walls
        limit, loss = walls.edge_limit, walls.edge_loss
        beside = ~walls.own & (samples.thickness < limit - MARGIN_MM)
        sharp = beside & ((loss > limit) | (walls.edge_whole > limit))
        index = np.flatnonzero(sharp)
        if not len(index):
            return
        ends = np.stack([samples.points[index], samples.contacts[index]], axis=1)
        label = labelled(len(index), self._edge_links(index, ends))
        for group in groups_of(label):
            place = index[group]
            worst = int(place[np.argmax(loss[place])])
            if loss[worst] <= limit[worst] or samples.area[place].sum() < EDGE_AREA * self.bead**2:
                continue
            thinnest = int(place[np.argmin(samples.thickness[place])])
            least = float(samples.thickness[thinnest])
            fresh = self.of_sample[place] == NONE
            if fresh.mean() < 0.5 and least > POINTED * limit[worst]:
                # A bevel on a thin wall that is told already.
                continue
            size = float(np.linalg.norm(np.ptp(samples.points[place], axis=0)))
            has_foot = bool((np.abs(samples.normals[place, 2]) > FOOT_COSINE).any())
            if size < TIP_SIZE * loss[worst] and has_foot and self._is_blunt_in_plan(worst):
                continue
            self._add(
                place,
                FindingKind.KNIFE_EDGE,
                least,
                float(limit[worst]),
                thinnest,
                loss_mm=_loss_along(loss[place]),
            )

    def _is_blunt_in_plan(self, tip: int) -> bool:
        """Whether layers print a tip that a ball does not reach, as the corner of a pyramid's foot.

        What counts is the angle of its outline in a layer: a disk loses less there.
        """
        centre = self.walls.edge_centres[tip]
        way = centre[:2] - self.samples.points[tip, :2]
        deep = float(np.linalg.norm(way))
        rise = abs(float(centre[2] - self.samples.points[tip, 2]))
        if deep <= rise:
            return False
        along, across = way / deep, np.array([-way[1], way[0]]) / deep
        ways = np.zeros((3, 3))
        ways[:, :2] = -along, across, -across
        back, left, right = self.rays.cast(np.tile(centre - self.rays.middle, (3, 1)), ways)[0]
        half_sine = np.sin(np.arctan2(0.5 * float(left + right), float(back)))
        return bool(0.5 * (1.0 / half_sine - 1.0) < BLUNT_IN_PLAN)

    def _edge_links(self, index: Ints, ends: Floats) -> tuple[Ints, Ints]:
        """Pairs of samples of one edge: those that belong together, and pieces a bead apart."""
        one, other = links_between(self.samples, index, ends, self.spacing)
        near = cKDTree(self.samples.points[index]).query_pairs(self.bead, output_type="ndarray")
        return np.concatenate([one, near[:, 0]]), np.concatenate([other, near[:, 1]])

    def _add(
        self,
        place: Ints,
        kind: FindingKind,
        smallest_mm: float,
        limit_mm: float,
        at: int,
        *,
        sound_mm: float | None = None,
        loss_mm: float | None = None,
    ) -> None:
        """Add a region told by its sample ``at``; a speck is a flaw of the mesh."""
        samples, walls = self.samples, self.walls
        is_edge = kind is FindingKind.KNIFE_EDGE
        contacts = np.where(is_edge, samples.contacts[place], np.nan)
        ends = walls.ends[place].reshape(-1, 3) if not is_edge else contacts
        both = np.vstack([samples.points[place], ends])
        low, high = np.nanmin(both, axis=0), np.nanmax(both, axis=0)
        area = float(samples.area[place].sum())
        size = float(np.linalg.norm(high - low))
        # An edge thins out to nothing by its nature.
        flaw = is_flaw(area, size, self.bead if is_edge else smallest_mm, self.bead)
        if is_edge:
            position = (samples.points[at] + samples.contacts[at]) / 2.0
            across = samples.contacts[at] - samples.points[at]
            across = across / max(float(np.linalg.norm(across)), np.finfo(np.float64).tiny)
        else:
            position, across = walls.ends[at].mean(axis=0), self.directions[at]
        fresh = place[self.of_sample[place] == NONE]
        self.of_sample[fresh] = len(self.findings)
        self.findings.append(
            Finding(
                kind=FindingKind.MESH_FLAW if flaw else kind,
                rule=Rule.BALL,
                axis=axis_of(across),
                smallest_mm=smallest_mm,
                limit_mm=limit_mm,
                position=as_vector(position),
                direction=as_vector(across),
                box=(as_vector(low), as_vector(high)),
                area_mm2=area,
                sound_mm=sound_mm,
                loss_mm=loss_mm,
            )
        )


def is_flaw(area_mm2: float, size_mm: float, smallest_mm: float, bead_mm: float) -> bool:
    """Whether a place is too small to be anything but a flaw of the mesh.

    Parameters
    ----------
    area_mm2, size_mm : float
        Its area, and the diagonal of its box.
    smallest_mm : float
        Its smallest measure.
    bead_mm : float
        Bead width.
    """
    speck = area_mm2 < FLAW_AREA * bead_mm**2 and size_mm < FLAW_SIZE * bead_mm
    return speck or (area_mm2 < bead_mm**2 and smallest_mm < FLAW_AREA * bead_mm)


def _loss_along(losses: Floats) -> float:
    """Depth that an edge loses along most of it; at the ends, which are corners, more goes."""
    at_rim = losses[losses > RIM_SHARE * losses.max()]
    return float(np.median(at_rim) if len(at_rim) >= RIM_SAMPLES else losses.max())


def _with_their_fringes(
    label: Ints, kind: Ints, area: Floats, links: tuple[Ints, Ints], smooth: Bools
) -> Ints:
    """Label groups anew, small ones as part of a larger one that weighs as much or more.

    Parameters
    ----------
    label, kind : (n,) int64
        Group and kind of each sample.
    area : (n,) float64
        Area of each, mm2.
    links : ((k,), (k,)) int64
        Neighbours of different kind.
    smooth : (k,) bool
        Whether the surface goes on without a crease between them.
    """
    weighs = np.array([list(Weight).index(KINDS[number].weight) for number in range(len(KINDS))])
    total = np.bincount(label, weights=area)
    of_group = np.zeros(len(total), dtype=np.int64)
    of_group[label] = weighs[kind]
    into = np.arange(len(total))
    pairs = np.column_stack([label[links[0]], label[links[1]]])
    for these, share in ((pairs[smooth], PART_SHARE), (pairs, FRINGE_SHARE)):
        if not len(these):
            continue
        small = np.where(total[these[:, 0]] <= total[these[:, 1]], these[:, 0], these[:, 1])
        large = these.sum(axis=1) - small
        part = total[small] < share * total[large]
        # What is graver stays what it is beside what is not.
        same = of_group[small] == of_group[large]
        part &= same if share == PART_SHARE else of_group[small] >= of_group[large]
        # The largest neighbour comes last and stays.
        order = np.argsort(total[large[part]], kind="stable")
        into[small[part][order]] = large[part][order]
    while (into[into] != into).any():
        into = into[into]
    return np.asarray(into[label], dtype=np.int64)
