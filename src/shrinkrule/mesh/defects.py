"""What is wrong with a mesh, each defect with a short code that stays the same.

Programs may look for the codes; the words beside them may change. What was repaired is counted;
what a repair would have to guess is left as it is and reported.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum

from shrinkrule.mesh.soundness import Soundness


class Code(StrEnum):
    """Stable code of a defect."""

    CRACK = "crack"
    DOUBLED = "doubled-facet"
    T_JOINT = "t-joint"
    NO_AREA = "facet-without-area"
    TURNED = "facing-inward"
    NESTED = "shell-in-shell"
    OPEN = "open-edge"
    UNPAIRED = "unpaired-edge"
    CROWDED = "crowded-edge"
    SLIVER = "sliver-facet"
    NO_THICKNESS = "wall-without-thickness"
    OVERLAP = "overlapping-bodies"


@dataclass(frozen=True)
class Defect:
    """One kind of defect in a mesh.

    Parameters
    ----------
    code : Code
        Which.
    mended : bool
        Whether it was mended, without changing what is solid.
    text : str
        In words, with the count.
    """

    code: Code
    mended: bool
    text: str

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        return asdict(self)


def defects_left(found: Soundness, overlaps: int) -> tuple[Defect, ...]:
    """Defects that a mesh has after all mends.

    Parameters
    ----------
    found : Soundness
        What was counted.
    overlaps : int
        Pairs of bodies that share space.

    Returns
    -------
    tuple of Defect
        Those that are there.
    """
    unpaired = 0 if found.closed or found.open_edges else 1
    counts = (
        (Code.OPEN, found.open_edges, "open edges"),
        (Code.UNPAIRED, unpaired, "surface whose facets do not pair up on every edge"),
        (Code.CROWDED, found.crowded_edges, "edges of more than two facets"),
        (Code.SLIVER, found.sliver_facets, "facets too thin for their length"),
        (Code.OVERLAP, overlaps, "pairs of bodies that share space"),
    )
    return tuple(Defect(code, False, f"{count} {text}") for code, count, text in counts if count)
