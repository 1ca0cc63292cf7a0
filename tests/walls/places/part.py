"""What a part with known thin places is, and what must be told of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import trimesh

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

THIN_WALL = "thin wall"
SINGLE_BEAD = "single bead"
THIN_FLOOR = "thin floor"
THIN_PIN = "thin pin"
SINGLE_BEAD_PIN = "single-bead pin"
KNIFE_EDGE = "knife edge"

#: Kinds that no sound part may have.
THIN_KINDS = frozenset((THIN_WALL, SINGLE_BEAD, THIN_FLOOR, THIN_PIN, SINGLE_BEAD_PIN, KNIFE_EDGE))

#: How much each kind weighs, in the judgement of a whole set.
WEIGHT_OF_KIND = {
    THIN_WALL: "stop",
    SINGLE_BEAD: "look",
    THIN_FLOOR: "stop",
    THIN_PIN: "stop",
    SINGLE_BEAD_PIN: "look",
    KNIFE_EDGE: "look",
    "flaw of the mesh": "tells",
}


@dataclass(frozen=True)
class Expected:
    """One planted place and what a right report says about it.

    Attributes
    ----------
    kinds
        Names that are right for it. More than one where several are right.
    least_mm, tolerance_mm
        Diameter of its least inscribed ball, and how far the told value may be off.
        The tolerance of a knife edge is infinite: its loss is judged instead.
    at
        Points (k, 3), centres of least balls of sheets and wires and points on the edge of knife
        edges. At least one must lie in the finding's box grown by a bead.
    min_area_mm2
        Lower bound for the area under the limit, both sides counted; None where not judged.
    count
        How many places of this kind these are. A connected wire or net is one.
    weighs
        ``"stop"`` or ``"look"``; a finding that weighs less is wrong.
    loss_mm
        Depth that opening by one bead takes away; None where not judged.
    """

    kinds: frozenset[str]
    least_mm: float
    tolerance_mm: float
    at: FloatArray
    min_area_mm2: float | None
    count: int
    weighs: str
    loss_mm: float | None = None


@dataclass(frozen=True)
class PlacedPart:
    """A mesh as it stands in the printer, with everything that is thin on it.

    Attributes
    ----------
    seed, family
        Where it came from.
    mesh
        Watertight, in mm, Z up.
    nozzle_mm, layer_mm, bead_mm
        The printer it is judged for.
    expected
        Its thin places; empty for a sound part.
    allowed
        Kinds that may be told besides without being wrong.
    description
        One line for a maker.
    """

    seed: int
    family: str
    mesh: trimesh.Trimesh
    nozzle_mm: float
    layer_mm: float
    bead_mm: float
    expected: tuple[Expected, ...]
    allowed: frozenset[str]
    description: str
