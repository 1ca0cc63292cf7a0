"""Thin samples joined into regions: walls, floors, pins (thin in two directions) and knife edges.

Each sample has a kind (docs/theory-walls.md, "Regions"). Connected samples of one kind are one
region, and a small region that goes on smoothly from a larger one belongs to it. The kind of most
of its area, not that of its thinnest sample, names a region.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.numerics.arrays import Floats, Ints, Mask, connected_components
from shrinkrule.printer import Printer
from shrinkrule.walls.findings import (
    FLAT_COSINE,
    Finding,
    FindingKind,
    Rule,
    as_vector,
    axis_of,
    spread_of,
)
from shrinkrule.walls.limits import MARGIN_MM, WallLimits
from shrinkrule.walls.regions.edges import sharp_edges
from shrinkrule.walls.regions.grouping import (
    KINDS,
    NUMBER,
    REACH,
    groups_of,
    links_between,
    through_nodes,
    with_their_fringes,
)
from shrinkrule.walls.regions.measured import FLAW_AREA, is_mesh_flaw
from shrinkrule.walls.regions.pins import find_pins
from shrinkrule.walls.thickness.local import LocalWalls
from shrinkrule.walls.thickness.spheres import ThicknessSamples

ALIKE: Final = 3e-3
"""Thickness is exact to this share. Of the samples that are as thin as the thinnest, the most
central one is the position reported."""

NODE_REACH: Final = 1.5
"""How far apart struts may end at one node, in sound thicknesses."""

SMOOTH_COSINE: Final = 0.85
"""Cosine between normals of neighbours above which the surface goes on without a crease."""

FLANK_REACH: Final = 2.0
"""How far from a thin wall a sample may be its flank, in beads."""

PIN_FACETS: Final = 0.01
"""Share by which the flats of a round pin of 22 sides lie inside its circle: one drawn exactly at
its limit passes."""

ASLANT: Final = 8
"""Nearest samples with contacts less than nearly opposite that are compared with each thin one."""

THINNER: Final = 0.98
"""A thin sample lies in a wedge where one beside it is thinner than this share of it."""

WEDGE_SHARE: Final = 0.7
"""Where more than this share of a group's area lies beside thinner samples, all is a wedge."""

NO_AREA: Final = 1e-9
"""Area, in spacings squared, of a sample that represents none: it decides only among its like."""

FLAW_SHARE: Final = 0.25
"""A speck in a region is a flaw where it is thinner than this share of the median thickness."""

NONE: Final = -1


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


def thin_regions(
    rays: Rays,
    samples: ThicknessSamples,
    walls: LocalWalls,
    printer: Printer,
    limits: WallLimits,
    spacing_mm: float,
) -> Regions:
    """Find thin walls, floors and pins, single beads and knife edges.

    Parameters
    ----------
    rays : Rays
        Of the green part, print frame.
    samples : ThicknessSamples
        Its measured samples.
    walls : LocalWalls
        The wall that each belongs to.
    printer, limits : Printer, WallLimits
        Which thickness walls need.
    spacing_mm : float
        Spacing of the samples.

    Returns
    -------
    Regions
        Findings by rule BALL; knife edges come last.
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
        self.floor, self.pin = limits.floor_mm(printer), limits.pin_mm(printer)
        self.bead = printer.bead_width_mm
        self.directions = walls.directions
        self.findings: list[Finding] = []
        self.of_sample: Ints = np.full(len(samples.thickness), NONE, dtype=np.int64)

    def walls_and_pins(self) -> None:
        """Find what is thin between two sides: walls, floors and pins."""
        samples, walls = self.samples, self.walls
        largest = max(self.sound, self.floor) - MARGIN_MM
        index = np.flatnonzero(walls.thickness < largest)
        if not len(index):
            return
        thickness = walls.thickness[index]
        pins = find_pins(
            self.rays, walls.centres[index], self.directions[index], walls.diameter[index]
        )
        thickness = np.where(pins.is_pin, pins.thickness, thickness)
        kind = self._kinds(index, thickness, pins.is_pin)
        kept = kind != NONE
        index, kind, thickness = index[kept], kind[kept], thickness[kept]
        if not len(index):
            return
        kept = ~self._in_a_wedge(index, thickness)
        index, kind, thickness = index[kept], kind[kept], thickness[kept]
        if not len(index):
            return
        flanks, kind_of_flank = self._flanks(index, kind, thickness)
        index = np.concatenate([index, flanks])
        kind = np.concatenate([kind, kind_of_flank])
        thickness = np.concatenate([thickness, samples.thickness[flanks]])
        ends = walls.ends[index]
        one, other = links_between(self.rays, samples, index, ends, self.spacing)
        alike = kind[one] == kind[other]
        label = connected_components(len(index), np.column_stack([one[alike], other[alike]]))
        label = through_nodes(self.rays, label, kind, walls.centres[index], NODE_REACH * self.sound)
        normals = samples.normals[index]
        smooth = np.einsum("ij,ij->i", normals[one], normals[other]) > SMOOTH_COSINE
        label = with_their_fringes(
            label, kind, samples.area[index], (one[~alike], other[~alike]), smooth[~alike]
        )
        for place in groups_of(label):
            self._add_wall(index[place], kind[place], thickness[place])

    def _in_a_wedge(self, index: Ints, thickness: Floats) -> Mask:
        """Whether thin samples lie in a wedge, which is thinner just beside them, (k,) bool.

        A wall is thinnest where the contacts of its ball are nearly opposite; a wedge is thinner
        still where the contacts are less opposite.
        """
        samples = self.samples
        has_wall = np.isfinite(self.walls.thickness)
        aslant = np.flatnonzero(samples.is_wall & ~self.walls.own & ~has_wall)
        if not len(aslant):
            return np.zeros(len(index), dtype=np.bool_)
        reach = REACH * self.spacing
        distance, beside = cKDTree(samples.points[aslant]).query(
            samples.points[index],
            k=range(1, min(ASLANT, len(aslant)) + 1),
            distance_upper_bound=reach,
            workers=-1,
        )
        beside = aslant[np.where(np.isfinite(distance), beside, 0)]
        thinner = samples.thickness[beside] < THINNER * thickness[:, None]
        facing = np.einsum("ij,ikj->ik", samples.normals[index], samples.normals[beside])
        beside_thinner: Mask = np.any(
            np.isfinite(distance) & thinner & (facing > SMOOTH_COSINE), axis=1
        )
        if not beside_thinner.any():
            return beside_thinner
        links = links_between(self.rays, samples, index, self.walls.ends[index], self.spacing)
        label = connected_components(len(index), np.column_stack(links))
        # By area: how densely a place is sampled says nothing about it.
        area = np.maximum(samples.area[index], NO_AREA * self.spacing**2)
        share = np.bincount(label, beside_thinner * area) / np.bincount(label, area)
        wedge: Mask = np.asarray(share > WEDGE_SHARE)[label]
        return wedge

    def _flanks(self, index: Ints, kind: Ints, thickness: Floats) -> tuple[Ints, Ints]:
        """Flanks of thin walls: samples beside them that are thicker, but still under the limit.

        On the flanks of a web between two bores, or of a neck, the sides meet at an angle, so
        that balls grow on. The wall there is as thin as the sample's own ball measures.
        """
        samples = self.samples
        limits = np.array([self._limits_of(of_kind)[0] for of_kind in KINDS])
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
        """The limit of a kind, and the thickness it needs to be sound where that is more, mm."""
        if kind is FindingKind.THIN_FLOOR:
            return self.floor, None
        if kind in (FindingKind.SINGLE_BEAD, FindingKind.SINGLE_BEAD_PIN):
            return self.sound, None
        return self.pin if kind is FindingKind.THIN_PIN else self.exist, self.sound

    def _kinds(self, index: Ints, thickness: Floats, is_pin: Mask) -> Ints:
        """Number of the kind of each thin sample, -1 for one that passes its limit."""
        level = (np.abs(self.directions[index, 2]) >= FLAT_COSINE) & ~is_pin
        kind = np.full(len(index), NONE, dtype=np.int64)
        sound, exist = thickness < self.sound - MARGIN_MM, thickness < self.exist - MARGIN_MM
        round_one = thickness / (1.0 - PIN_FACETS)
        kind[is_pin & (round_one < self.sound - MARGIN_MM)] = NUMBER[FindingKind.SINGLE_BEAD_PIN]
        kind[is_pin & (round_one < self.pin - MARGIN_MM)] = NUMBER[FindingKind.THIN_PIN]
        kind[sound & ~is_pin & ~level] = NUMBER[FindingKind.SINGLE_BEAD]
        kind[exist & ~is_pin & ~level] = NUMBER[FindingKind.THIN_WALL]
        kind[level & (thickness < self.floor - MARGIN_MM)] = NUMBER[FindingKind.THIN_FLOOR]
        return kind

    def _add_wall(self, place: Ints, kinds: Ints, thickness: Floats) -> None:
        """Add a connected region, named by the kind of most of its area."""
        area = self.samples.area[place]
        weight = np.bincount(kinds, weights=area + NO_AREA * self.spacing**2, minlength=len(KINDS))
        kind = KINDS[int(weight.argmax())]
        own = kinds == NUMBER[kind]
        # A wall is measured by its samples' own balls, which are exact, where it has some; a pin
        # by the largest balls along it.
        straight = own & self.walls.own[place]
        is_pin = kind in (FindingKind.THIN_PIN, FindingKind.SINGLE_BEAD_PIN)
        chosen = np.flatnonzero(straight if straight.any() and not is_pin else own)
        chosen = self._without_flaws(chosen, thickness, area)
        least = thickness[chosen]
        alike = chosen[least <= least.min() * (1.0 + ALIKE)]
        off_middle = self.samples.points[place[alike]] - self.samples.points[place].mean(axis=0)
        at = int(alike[np.argmin(np.einsum("ij,ij->i", off_middle, off_middle))])
        limit, sound = self._limits_of(kind)
        self._add(place, kind, float(least.min()), limit, int(place[at]), sound_mm=sound)

    def _without_flaws(self, chosen: Ints, thickness: Floats, area: Floats) -> Ints:
        """Leave out samples that are far thinner than the others and have next to no area."""
        flaws = thickness[chosen] < FLAW_SHARE * np.median(thickness[chosen])
        speck = max(FLAW_AREA * self.bead**2, FLAW_AREA * float(area[chosen].sum()))
        return chosen[~flaws] if area[chosen][flaws].sum() < speck else chosen

    def knife_edges(self) -> None:
        """Find edges so sharp that more than their limit of depth is lost."""
        taken = self.of_sample != NONE
        for edge in sharp_edges(
            self.rays, self.samples, self.walls, taken, self.spacing, self.bead
        ):
            least = float(self.samples.thickness[edge.thinnest])
            kind, limit = FindingKind.KNIFE_EDGE, edge.limit_mm
            self._add(edge.place, kind, least, limit, edge.thinnest, loss_mm=edge.loss_mm)

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
        """Add a region, with its position and direction at the sample ``at``; a speck is a flaw."""
        samples, walls = self.samples, self.walls
        is_edge = kind is FindingKind.KNIFE_EDGE
        ends = samples.contacts[place] if is_edge else walls.ends[place].reshape(-1, 3)
        both = np.vstack([samples.points[place], ends])
        low, high = np.nanmin(both, axis=0), np.nanmax(both, axis=0)
        area = float(samples.area[place].sum())
        size = float(np.linalg.norm(high - low))
        # An edge thins out to nothing by its nature.
        flaw = is_mesh_flaw(area, size, self.bead if is_edge else smallest_mm, self.bead)
        if is_edge:
            position = (samples.points[at] + samples.contacts[at]) / 2.0
            across = samples.contacts[at] - samples.points[at]
            across = across / max(float(np.linalg.norm(across)), np.finfo(np.float64).tiny)
        else:
            position, across = walls.ends[at].mean(axis=0), self.directions[at]
        if not across.any():
            # A ball with a single contact: along the normal.
            across = samples.normals[at]
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
                spread_mm=spread_of(samples.points[place], samples.area[place]),
            )
        )
