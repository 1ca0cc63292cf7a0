"""Body by body, where a file holds several: size, mass, what was found in each, and its verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import igl
import numpy as np

from shrinkrule.calibration import Interval
from shrinkrule.files.threemf.write import separate_bodies
from shrinkrule.job.checks import LEVELS, Level, State, heaviest
from shrinkrule.job.result import JobResult
from shrinkrule.mesh import Part
from shrinkrule.mesh.repair import body_boxes, facets_by_body
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.triangles import signed_volumes
from shrinkrule.walls import Weight

_SAME: Final = 1e-5
"""Share of a body's length by which merged vertices may have moved."""

_STATES: Final = {Weight.STOP: State.STOP, Weight.LOOK: State.LOOK, Weight.TELLS: State.FINE}


@dataclass(frozen=True)
class BodyLook:
    """One body of several.

    Parameters
    ----------
    number : int
        From 1, as bodies that share space are numbered.
    object_name : str
        Name of the object that it belongs to, where the file holds one.
    low_mm, high_mm : (3,) float64
        Corners of its box in the model's axes.
    share : float
        Of the whole volume, its hollows taken off.
    green_mass_g, fired_mass_g : Interval or None
        Its mass, where that is known.
    found : tuple of (str, int)
        What was found in it, and in how many places, the heaviest first.
    level : Level
        What that alone would make of it.
    """

    number: int
    object_name: str
    low_mm: Floats
    high_mm: Floats
    share: float
    green_mass_g: Interval | None
    fired_mass_g: Interval | None
    found: tuple[tuple[str, int], ...]
    level: Level

    @property
    def name(self) -> str:
        """What it is called: by its number, and by its object where that has a name."""
        return f"body {self.number}" + (f", {self.object_name}" if self.object_name else "")


def look_at_bodies(result: JobResult) -> tuple[BodyLook, ...]:
    """Sort what was found in a part by its bodies.

    Parameters
    ----------
    result : JobResult
        The job.

    Returns
    -------
    tuple of BodyLook
        Empty for a single body, and for a surface that is no sound solid.
    """
    part = result.part
    if not part.trusted or part.soundness.bodies < 2:
        return ()
    points = np.asarray(part.mesh.vertices, dtype=np.float64)
    facets = np.asarray(part.mesh.faces, dtype=np.int64)
    shell = edge_table(facets).bodies
    volumes = signed_volumes(points, facets, shell)
    solid = np.flatnonzero(volumes > 0.0)
    low, high = body_boxes(points, facets, facets_by_body(shell, len(volumes)))
    owner = _owners(low, high, volumes)
    whole = np.zeros(len(volumes))
    np.add.at(whole, owner, volumes)
    places, kinds, states = _findings(result)
    at = owner[shell[_nearest(points, facets, places)]] if len(places) else np.empty(0, np.int64)
    order = np.argsort(at, kind="stable")
    first, last = (np.searchsorted(at[order], solid, side) for side in ("left", "right"))
    looks = []
    for number, (body, begin, end) in enumerate(zip(solid, first, last, strict=True), start=1):
        mine = order[begin:end]
        share = float(whole[body] / whole.sum())
        counts: dict[str, int] = {}
        for one in sorted(mine, key=lambda one: -_weight(states[one])):
            counts[kinds[one]] = counts.get(kinds[one], 0) + 1
        looks.append(
            BodyLook(
                number,
                _object_name(part, low[body], high[body]),
                low[body],
                high[body],
                share,
                _part_of(result.prediction.green_mass_g, share),
                _part_of(result.prediction.fired_mass_g, share),
                tuple(counts.items()),
                LEVELS[heaviest([states[one] for one in mine])],
            )
        )
    return tuple(looks)


def object_names(result: JobResult) -> tuple[str, ...]:
    """Names that the model's file gives to the bodies of the mesh that is written.

    Parameters
    ----------
    result : JobResult
        The job.

    Returns
    -------
    tuple of str
        As :func:`separate_bodies` sorts them; empty where there is none, or where bodies were
        made one.
    """
    part, written = result.part, result.to_slice
    if not part.objects:
        return ()
    model = _boxes(np.asarray(part.mesh.vertices, dtype=np.float64), part.mesh.faces)
    in_model = result.green.in_model(np.asarray(written.vertices, dtype=np.float64))
    bodies = _boxes(in_model, written.faces, np.asarray(written.vertices, dtype=np.float64))
    if len(bodies) != len(model):
        return ()
    names = [_object_name(part, low, high) for low, high in model]
    # Offset and pre-curve move a body by less than bodies differ in place or size.
    return tuple(names[int(np.abs(model - box).sum(axis=(1, 2)).argmin())] for box in bodies)


def _boxes(points: Floats, faces: Ints, lying: Floats | None = None) -> Floats:
    """Boxes (n, 2, 3) in ``points`` of bodies, told apart where they are ``lying``."""
    facets = np.asarray(faces, dtype=np.int64)
    bodies = separate_bodies(points if lying is None else lying, facets)
    corners = [points[np.unique(body)] for body in bodies]
    return np.array([(one.min(axis=0), one.max(axis=0)) for one in corners])


def _object_name(part: Part, low: Floats, high: Floats) -> str:
    """Name of the smallest object whose box holds a body's; empty where none does."""
    boxes = np.array(part.object_boxes).reshape(-1, 2, 3)
    slack = _SAME * float((high - low).max())
    holds = (boxes[:, 0] <= low + slack).all(axis=1) & (boxes[:, 1] >= high - slack).all(axis=1)
    if not holds.any():
        return ""
    sizes = np.where(holds, np.ptp(boxes, axis=1).prod(axis=1), np.inf)
    return part.objects[int(sizes.argmin())]


def _weight(state: State) -> int:
    return list(State).index(state)


def _part_of(mass: Interval | None, share: float) -> Interval | None:
    """Share of a mass; what is unsure of it goes with the mass."""
    if mass is None:
        return None
    return Interval(share * mass.value, None if mass.half95 is None else share * mass.half95)


def _findings(result: JobResult) -> tuple[Floats, list[str], list[State]]:
    """Places (n, 3) in the model of all that was found, their kinds, and what each weighs."""
    walls = result.walls.places
    prints = () if result.printing is None else result.printing.findings
    there = [place.in_model for place in walls]
    if prints:
        there.extend(result.green.in_model(np.array([found.position for found in prints])))
    kinds = [place.finding.kind.value for place in walls] + [found.kind.value for found in prints]
    states = [_STATES[place.finding.kind.weight] for place in walls] + [State.LOOK] * len(prints)
    return np.array(there).reshape(-1, 3), kinds, states


def _nearest(points: Floats, facets: Ints, places: Floats) -> Ints:
    """Facet (n,) of the surface that is nearest to each place."""
    _, facet, _ = igl.point_mesh_squared_distance(places, points, facets)
    return np.asarray(facet, dtype=np.int64)


def _owners(low: Floats, high: Floats, volumes: Floats) -> Ints:
    """Body (k,) that each shell belongs to: a hollow to the smallest body whose box holds it."""
    owner = np.arange(len(volumes))
    for hollow in np.flatnonzero(volumes <= 0.0):
        holds = (volumes > 0.0) & (low <= low[hollow]).all(axis=1)
        holds &= (high >= high[hollow]).all(axis=1)
        if holds.any():
            owner[hollow] = np.flatnonzero(holds)[np.argmin(volumes[holds])]
    return owner
