"""The wall check: every place of the green part that is too thin, too narrow or too thick."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh
from scipy.spatial import cKDTree

from shrinkrule.errors import MeshError
from shrinkrule.mesh import Soundness, inspect_mesh
from shrinkrule.numerics.progress import Progress, silent
from shrinkrule.numerics.triangles import surface_area
from shrinkrule.printer import Printer
from shrinkrule.units import percent
from shrinkrule.walls.agreement import BallSide, agreed
from shrinkrule.walls.findings import (
    Finding,
    PlaceText,
    Vector,
    as_vector,
    in_print,
    what_matters,
)
from shrinkrule.walls.layers.check import LayerReport, layer_findings
from shrinkrule.walls.layers.narrow import Narrow
from shrinkrule.walls.layers_ahead import compile_ahead
from shrinkrule.walls.limits import WallLimits
from shrinkrule.walls.regions.gaps import MOUTH, gap_findings
from shrinkrule.walls.regions.thick import thick_findings
from shrinkrule.walls.regions.thin import NONE, Regions, thin_regions
from shrinkrule.walls.shown import ShownWalls, shown_walls
from shrinkrule.walls.thickness.local import local_walls
from shrinkrule.walls.thickness.refinement import refined_samples
from shrinkrule.walls.thickness.sampling import sample_cells
from shrinkrule.walls.thickness.spheres import (
    Status,
    Surface,
    ThicknessSamples,
    gaps_on,
    is_crossed,
)
from shrinkrule.walls.thickness_scale import ThicknessScale

SAMPLES_PER_BEAD: Final = 2.0
"""Samples per bead width, so that a thin place one bead across holds at least one."""

CROSSED_AREA: Final = 0.05
"""Surface in square beads that must lie inside another body to be reported; less is rounding."""

AIM_SAMPLES: Final = 40000
"""First samples of a large part; more are added only where a wall is near a limit."""


@dataclass(frozen=True)
class WallReport:
    """What the wall check found on a green part.

    Parameters
    ----------
    samples : ThicknessSamples
        Every sample with its thickness.
    findings : tuple of Finding
        Sorted by what matters; each says which rule saw it.
    layers : LayerReport
        What the layers alone find.
    thickest_mm : float
        Diameter of the largest ball that touches a sample, mm; nan when nothing is measured.
    thickest_at : (3,) float
        Its centre, mm.
    spacing_mm : float
        Spacing of the samples.
    status_counts : dict
        Samples of each status, by name.
    measured_fraction : float
        Share of the surface with a ball.
    trusted : bool
        Whether the mesh is sound enough to believe all of this.
    notes : tuple of str
        What cannot be trusted, and why.
    shown : ShownWalls
        What pictures and coloured meshes show.
    """

    samples: ThicknessSamples
    findings: tuple[Finding, ...]
    layers: LayerReport
    thickest_mm: float
    thickest_at: Vector
    spacing_mm: float
    status_counts: dict[str, int]
    measured_fraction: float
    trusted: bool
    notes: tuple[str, ...]
    shown: ShownWalls


MOST_ADDED: Final = 600_000
"""Samples added near the limits at most; the thinnest places are looked into first."""

LOOSE_SHARE: Final = 0.1
"""Share of edges that may be open in a surface with holes; with more it is a heap of facets."""

LOOSE_EFFORT: Final = 0.2
"""Share of the first samples for a heap of facets: nothing is promised of it."""

NOTHING_NARROW: Final = LayerReport((), 0, 0.0, 0.0, (), True)
"""The layers' report where a sound surface has no place for them to look at."""


def _doubts(found: Soundness) -> list[str]:
    """Why balls cannot be trusted; open edges are in the notes of the layers, with their place."""
    doubts = []
    if not found.winding_consistent:
        doubts.append("neighbouring facets face opposite ways: inside and outside are not certain")
    elif found.closed and found.volume_mm3 <= 0.0:
        doubts.append("the mesh is inside out: what is measured is the space around the part")
    return doubts


def _without_crossings(
    surface: Surface, samples: ThicknessSamples, bead_mm: float, place_text: PlaceText
) -> tuple[ThicknessSamples, list[str]]:
    """Mark samples that lie inside another body, and write the note about them."""
    # Bitangent spheres touch at edges, where rays along the normal prove nothing: samples without
    # area take the answer of their nearest neighbour.
    on_edge = samples.area == 0.0
    crossed = is_crossed(surface, samples) & ~on_edge
    area = float(samples.area[crossed].sum())
    if area < CROSSED_AREA * bead_mm**2:
        return samples, []
    _, beside = cKDTree(samples.points[~on_edge]).query(samples.points[on_edge])
    crossed[on_edge] = crossed[~on_edge][beside]
    first = place_text(as_vector(samples.points[int(np.argmax(crossed & ~on_edge))]))
    share = percent(area / float(samples.area.sum()))
    note = (
        f"bodies touch or share space, or the surface passes through itself, on {share} of "
        f"the surface, first near {first}: walls there cannot be trusted; unite the bodies"
    )
    thickness = np.where(crossed, np.nan, samples.thickness)
    status = np.where(crossed, np.int8(Status.CROSSED), samples.status)
    return replace(samples, thickness=thickness, status=status), [note]


def _where_narrow(
    samples: ThicknessSamples, thin: Regions, air: ThicknessSamples, narrow: Regions
) -> Narrow:
    """Where the balls found something, or could not measure: there the layers look too."""
    blind = np.isnan(samples.thickness)
    return Narrow(
        samples.points[(thin.of_sample != NONE) | blind],
        np.concatenate([air.points[narrow.of_sample != NONE], samples.points[blind]]),
    )


def check_walls(
    mesh: trimesh.Trimesh,
    printer: Printer,
    limits: WallLimits | None = None,
    *,
    soundness: Soundness | None = None,
    progress: Progress | None = None,
    place_text: PlaceText = in_print,
) -> WallReport:
    """Find every thin, unsound or thick place of a green part.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The GREEN part in the print frame (Z is the build direction), mm.
    printer : Printer
        Bead and layer.
    limits : WallLimits, optional
        How many beads and layers walls, floors and gaps need; the trade's usual if not given.
    soundness : Soundness, optional
        Of this mesh or one it was scaled from; computed if not given.
    progress : callable, optional
        Called with the stage and the share done, 0 to 1.
    place_text : callable, optional
        Puts a place of the print frame in words, for notes.

    Returns
    -------
    WallReport
        Findings, notes, and all samples with their thickness.

    Raises
    ------
    MeshError
        For a mesh without facets of any area, or with a coordinate that is no number.
    SettingError
        When the part is so large for its bead that the samples would not fit in memory.
    """
    limits = WallLimits() if limits is None else limits
    report = progress or silent
    # Not asked of the mesh, which would keep the corners of all facets.
    area = surface_area(np.asarray(mesh.vertices), np.asarray(mesh.faces))
    if not area > 0.0:
        raise MeshError("no facet of the mesh has an area", hint="export the model again")
    report("preparing the surface", 0.0)
    found = inspect_mesh(mesh) if soundness is None else soundness
    surface = Surface(mesh)
    spacing = printer.bead_width_mm / SAMPLES_PER_BEAD
    # Nothing is promised of a heap of facets, so it is not looked at as closely.
    loose = found.open_edges > LOOSE_SHARE * 1.5 * found.facets
    effort = LOOSE_EFFORT if loose else 1.0
    sampling = sample_cells(mesh, max(spacing, float(np.sqrt(area / (effort * AIM_SAMPLES)))))
    report("measuring walls", 0.2)
    needed = (limits.exist_mm(printer), limits.sound_mm(printer), limits.floor_mm(printer))
    most = 0 if loose else MOST_ADDED
    samples = refined_samples(mesh, surface, sampling, needed, spacing, most)
    doubts = _doubts(found)
    if found.closed and not doubts:
        samples, doubts = _without_crossings(surface, samples, printer.bead_width_mm, place_text)
    report("joining places", 0.6)
    walls = local_walls(surface, samples, printer, limits, spacing, grow=not loose)
    thin = thin_regions(surface.rays, samples, walls, printer, limits, spacing)
    if not found.closed or doubts or thin.findings:
        compile_ahead()
    first = sampling.samples
    widest = MOUTH * limits.gap_mm(printer)
    air = gaps_on(surface, first.points, first.facets, first.area, sampling.reach, widest)
    narrow = gap_findings(surface.rays, air, printer, limits, sampling.spacing_mm)
    report("cutting layers", 0.8)
    layers = NOTHING_NARROW
    if not found.closed or doubts or thin.findings or narrow.findings:
        sound = found.closed and not doubts
        where = _where_narrow(samples, thin, air, narrow) if sound else None
        layers = layer_findings(mesh, printer, limits, narrow=where, place_text=place_text)
    measured = ~np.isnan(samples.thickness)
    reach = max(needed)
    findings = agreed(
        BallSide(thin, samples.points, measured, reach),
        BallSide(narrow, air.points, np.ones(len(air.points), dtype=np.bool_), reach),
        layers.places,
    )
    findings += thick_findings(samples, limits)
    thickest, centre = float("nan"), np.full(3, np.nan)
    if measured.any():
        at = int(np.nanargmax(samples.thickness))
        thickest = float(samples.thickness[at])
        centre = samples.points[at] - samples.normals[at] * thickest / 2.0
    shown = shown_walls(
        samples, walls, thin.findings, thin.of_sample, ThicknessScale.of(printer, limits), spacing
    )
    report("walls checked", 1.0)
    return WallReport(
        samples=samples,
        findings=tuple(sorted(findings, key=what_matters)),
        layers=layers,
        thickest_mm=thickest,
        thickest_at=as_vector(centre),
        spacing_mm=spacing,
        status_counts={
            status.name.lower(): int((samples.status == status).sum()) for status in Status
        },
        measured_fraction=float(samples.area[measured].sum() / samples.area.sum()),
        trusted=found.closed and not doubts and layers.trusted,
        notes=(*doubts, *layers.notes),
        shown=shown,
    )
