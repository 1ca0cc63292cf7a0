"""The sag as the job looks at it: taken off, or only estimated, or why it is not known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from shrinkrule.compensation import Prediction, way_up
from shrinkrule.dimensions import Dimension, FoundDimensions, Kind
from shrinkrule.errors import ShrinkruleError
from shrinkrule.job.recipe import Recipe
from shrinkrule.mesh import Part
from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.progress import Progress, part_of

if TYPE_CHECKING:
    from shrinkrule.sag import PrecurveResult, SagEstimate, SagMaterial, SagSettings, WayUp

SAG_MATTERS_MM: Final = 0.1
"""A sag that a hand sees on a straight edge (common practice, no source) ..."""

SHARE_OF_SIZES: Final = 1.0 / 3.0
"""... or this share of the half width of the sizes, where that is less: it then shows in them."""

_ESTIMATE_SHARE: Final = 0.15  # of the time, where six ways up are tried after it


@dataclass(frozen=True)
class SagLook:
    """What is known of the sag.

    Parameters
    ----------
    taken_off : PrecurveResult or None
        The sag and its allowance, where it is taken off.
    estimate : SagEstimate or None
        The quick estimate, where it is not.
    limit_mm : float
        An estimate over this matters, mm.
    ways : tuple of WayUp
        The six ways up, the best first, where the estimate matters.
    why_not : str
        Why neither is known; empty where one is.
    refused : bool
        Whether that is because of how the part lies, which is worth a look.
    """

    taken_off: PrecurveResult | None = None
    estimate: SagEstimate | None = None
    limit_mm: float = SAG_MATTERS_MM
    ways: tuple[WayUp, ...] = ()
    why_not: str = ""
    refused: bool = False

    @property
    def matters(self) -> bool:
        """Whether the estimated sag is large enough to do something about it."""
        return self.estimate is not None and self.estimate.sag_mm > self.limit_mm


def look_at_sag(part: Part, recipe: Recipe, prediction: Prediction, progress: Progress) -> SagLook:
    """Take the sag off, or estimate it, as far as the recipe and the part allow.

    Parameters
    ----------
    part : Part
        The wanted part, which is solved in its fired size.
    recipe : Recipe
        Row, way up, and what to do about sag.
    prediction : Prediction
        How sure the sizes are.
    progress : callable
        Called with the stage and the share done, 0 to 1.

    Returns
    -------
    SagLook
        What was found; a part that cannot be solved is no error, but says why.
    """
    if recipe.row is None:
        return SagLook(why_not="factors by hand hold no sag modulus")
    if recipe.row.sag_modulus_kpa is None:
        return SagLook(why_not="no sag modulus in the row")
    if not part.trusted:
        return SagLook(why_not=part.why_not_trusted)
    if recipe.sag is None and not recipe.look_at_sag:
        return SagLook(why_not="left out as asked")
    if recipe.sag is None and recipe.row.metal_density_g_cm3 is None:
        return SagLook(why_not="no density of the solid metal in the row")
    from shrinkrule.sag import precurve, sag_material

    material = sag_material(recipe.row)
    try:
        if recipe.sag is not None:
            solved = precurve(part.mesh, material, recipe.sag, progress=progress)
            return SagLook(taken_off=solved, limit_mm=_limit_mm(prediction))
        return _estimated(part, material, recipe, prediction, progress)
    except ShrinkruleError as refusal:
        # How the part lies cannot be solved; everything else of the job can still be done.
        advice = f"; {refusal.hint}" if refusal.hint else ""
        return SagLook(why_not=f"{refusal.what}{advice}", refused=True)


def _estimated(
    part: Part, material: SagMaterial, recipe: Recipe, prediction: Prediction, progress: Progress
) -> SagLook:
    """The quick estimate, and the six ways up where it matters."""
    from shrinkrule.sag import QUICK_UNKNOWNS, estimate_sag, rank_ways_up

    lies = recipe.lies or _as_printed(recipe)
    stage = part_of(progress, 0.0, _ESTIMATE_SHARE)
    estimate = estimate_sag(part.mesh, material, lies, progress=stage)
    look = SagLook(estimate=estimate, limit_mm=_limit_mm(prediction))
    if not look.matters:
        return look
    rest = part_of(progress, _ESTIMATE_SHARE, 1.0 - _ESTIMATE_SHARE)
    ways = rank_ways_up(
        part.mesh, material, lies, unknowns=QUICK_UNKNOWNS, known=estimate, progress=rest
    )
    return SagLook(estimate=estimate, limit_mm=look.limit_mm, ways=ways)


def _as_printed(recipe: Recipe) -> SagSettings:
    """The part fired the way up it was printed."""
    from shrinkrule.sag import SagSettings

    x, y, z = way_up(recipe.print_up)
    return SagSettings(furnace_up=(float(x), float(y), float(z)))


def _limit_mm(prediction: Prediction) -> float:
    """Sag from which it matters: a tenth, or a share of the sizes' half width if that is less."""
    halves = [size.fired_mm.half95 for size in prediction.sizes if size.fired_mm.half95 is not None]
    return min([SAG_MATTERS_MM, *(SHARE_OF_SIZES * half for half in halves)])


def dimension_sags(
    part: Part, found: FoundDimensions | None, look: SagLook
) -> tuple[float | None, ...]:
    """Change of the first dimensions by the sag that is not taken off, mm.

    A length between two places changes by the difference of their displacements along it, a side
    of the box by what the whole surface does.

    Parameters
    ----------
    part : Part
        The wanted part.
    found : FoundDimensions or None
        Its dimensions.
    look : SagLook
        What is known of its sag.

    Returns
    -------
    tuple of float or None
        In the order of the list; positive where the length becomes longer. None for rounds and
        where no sag is known.
    """
    if found is None:
        return ()
    field = None if look.estimate is None else look.estimate.field
    if field is None:
        return (None,) * found.first
    vertices = np.asarray(part.mesh.vertices, dtype=np.float64)
    box = np.ptp(vertices + field.at(vertices), axis=0) - np.ptp(vertices, axis=0)
    sags: list[float | None] = []
    for one in found.dozen:
        direction = np.array(one.direction)
        if one.kind is Kind.OVERALL:
            sags.append(float(np.abs(direction) @ box))
        elif one.is_round:
            sags.append(None)
        else:
            first, second = field.at(_ends(one, direction))
            sags.append(float((second - first) @ direction))
    return tuple(sags)


def _ends(one: Dimension, direction: Floats) -> Floats:
    """Ends (2, 3) of a length, in the model's axes, mm."""
    start = np.array(one.place)
    if one.level_mm is None:
        start = start - 0.5 * one.size_mm * direction
    else:
        start = start + (one.level_mm - start @ direction) * direction
    return np.stack([start, start + one.size_mm * direction])
