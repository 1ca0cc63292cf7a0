"""The wall check: every place of the green part that the nozzle or the furnace will mind."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh
from scipy.spatial import cKDTree

from shrinkrule.errors import MeshError
from shrinkrule.mesh import Rays, Soundness, inspect_mesh
from shrinkrule.printer import Printer
from shrinkrule.walls.agreement import agreed
from shrinkrule.walls.balls.gaps import MOUTH, gap_findings
from shrinkrule.walls.balls.places import thick_findings, thin_findings
from shrinkrule.walls.balls.refinement import refined_samples
from shrinkrule.walls.balls.sampling import sample_cells
from shrinkrule.walls.balls.spheres import Status, Surface, ThicknessSamples, gaps_on, is_crossed
from shrinkrule.walls.findings import Finding, Vector, as_vector, by_what_matters
from shrinkrule.walls.layers.check import LayerReport, layer_findings
from shrinkrule.walls.limits import WallLimits

Progress = Callable[[str, float], None]
"""Told the stage and how much of the check is done, 0 to 1."""

SAMPLES_PER_BEAD: Final = 2.0
"""Samples per bead width, so that a thin place one bead across holds at least one."""

AIM_SAMPLES: Final = 600_000
"""Larger parts are sampled more coarsely than two per bead, to end within seconds."""


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
        What the layers alone say.
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
    rays : Rays
        Of the part, for pictures of it.
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
    rays: Rays


def _silent(stage: str, fraction: float) -> None:
    """Progress that nobody watches."""


def _doubts(found: Soundness) -> list[str]:
    """What the balls cannot be sure of; of open edges the layers tell, and where."""
    doubts = []
    if not found.winding_consistent:
        doubts.append("neighbouring facets face opposite ways: inside and outside are not certain")
    elif found.closed and found.volume_mm3 <= 0.0:
        doubts.append("the mesh is inside out: what is measured is the space around the part")
    return doubts


def _without_crossings(
    surface: Surface, samples: ThicknessSamples
) -> tuple[ThicknessSamples, list[str]]:
    """Samples with those told apart that lie inside another body, and what to say of them."""
    # On the very edge of facets, where corners pinch, a way in or out tells nothing.
    on_edge = samples.area == 0.0
    crossed = is_crossed(surface, samples.points, samples.facets) & ~on_edge
    if not crossed.any():
        return samples, []
    _, beside = cKDTree(samples.points[~on_edge]).query(samples.points[on_edge])
    crossed[on_edge] = crossed[~on_edge][beside]
    x, y, z = samples.points[int(np.argmax(crossed & ~on_edge))]
    share = 100.0 * float(samples.area[crossed].sum() / samples.area.sum())
    note = (
        f"bodies touch or share space, or the surface passes through itself, on {share:.2g} % of "
        f"the surface, first near x {x:z.2f}, y {y:z.2f}, z {z:z.2f}: walls there cannot be "
        "trusted; unite the bodies"
    )
    thickness = np.where(crossed, np.nan, samples.thickness)
    status = np.where(crossed, np.int8(Status.CROSSED), samples.status)
    return replace(samples, thickness=thickness, status=status), [note]


def check_walls(
    mesh: trimesh.Trimesh,
    printer: Printer,
    limits: WallLimits | None = None,
    *,
    soundness: Soundness | None = None,
    progress: Progress | None = None,
) -> WallReport:
    """Find every thin, unsound or thick place of a green part.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The GREEN part in the print frame (Z is the build direction), mm.
    printer : Printer
        Bead and layer.
    limits : WallLimits, optional
        How many of them a wall needs; the trade's usual if not given.
    soundness : Soundness, optional
        Of this mesh or one it was scaled from; found out if not given.
    progress : callable, optional
        Told the stage and the share done.

    Raises
    ------
    MeshError
        For a mesh without facets of any area, or with a coordinate that is no number.
    SettingError
        When the part is so large for its bead that the samples would not fit in memory.
    """
    limits = WallLimits() if limits is None else limits
    tell = _silent if progress is None else progress
    area = float(mesh.area)
    if not area > 0.0:
        raise MeshError("no facet of the mesh has an area", hint="export the model again")
    # Compiled loops of both run outside the interpreter's lock.
    with ThreadPoolExecutor(max_workers=1) as beside:
        cut = beside.submit(layer_findings, mesh, printer, limits)
        tell("preparing the surface", 0.0)
        surface = Surface(mesh)
        spacing = max(printer.bead_width_mm / SAMPLES_PER_BEAD, float(np.sqrt(area / AIM_SAMPLES)))
        tell("measuring walls", 0.2)
        sampling = sample_cells(mesh, spacing)
        thin = (limits.exist_mm(printer), limits.sound_mm(printer), limits.floor_mm(printer))
        samples = refined_samples(mesh, surface, sampling, thin)
        found = inspect_mesh(mesh) if soundness is None else soundness
        doubts = _doubts(found)
        if found.closed and not doubts:
            samples, doubts = _without_crossings(surface, samples)
        tell("joining places", 0.8)
        findings = thin_findings(samples, printer, limits, spacing)
        findings += thick_findings(samples, limits)
        spots = sampling.samples
        air = gaps_on(
            surface, spots.points, spots.facets, spots.area, MOUTH * limits.gap_mm(printer)
        )
        findings += gap_findings(air, printer, limits, spacing)
        tell("cutting layers", 0.9)
        layers = cut.result()
    measured = ~np.isnan(samples.thickness)
    thickest, centre = float("nan"), np.full(3, np.nan)
    if measured.any():
        at = int(np.nanargmax(samples.thickness))
        thickest = float(samples.thickness[at])
        centre = samples.points[at] - samples.normals[at] * thickest / 2.0
    tell("walls checked", 1.0)
    return WallReport(
        samples=samples,
        findings=by_what_matters(agreed(findings, layers.findings, spacing)),
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
        rays=surface.rays,
    )
