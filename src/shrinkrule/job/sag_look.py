"""The sag as the job looks at it: taken off, or only estimated, or why it is not known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import trimesh

from shrinkrule.compensation import GreenPart, Prediction, way_up
from shrinkrule.dimensions import FoundDimensions
from shrinkrule.dimensions.bending import length_change, places_of_ends
from shrinkrule.errors import Option, ShrinkruleError
from shrinkrule.job.recipe import Recipe
from shrinkrule.mesh import Part
from shrinkrule.numerics.progress import Progress, part_of
from shrinkrule.walls import WallReport
from shrinkrule.walls.thickness.spheres import thin_twentieth

if TYPE_CHECKING:
    from shrinkrule.sag import PrecurveResult, SagEstimate, SagMaterial, SagSettings, WayUp

SAG_MATTERS_MM: Final = 0.1
"""A sag that a hand sees on a straight edge (common practice, no source) ..."""

SHARE_OF_SIZES: Final = 1.0 / 3.0
"""... or this share of the half width of the sizes, where that is less: it then shows in them.
Never less than the tolerance to which sag is taken off."""

BETTER_WAY: Final = 0.5
"""A way up with less than this share of the sag is worth laying the part anew (judgement)."""

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
        The six ways up, the best first, where something is to be done about the sag.
    why_not : str
        Why neither is known; empty where one is.
    refused : bool
        Whether that is because of how the part lies, which is worth a look.
    furnace_up : tuple of 3 float
        Direction of the model's axes that points up in the furnace now.
    remedies : tuple of Option
        Choices that help where it was refused.
    """

    taken_off: PrecurveResult | None = None
    estimate: SagEstimate | None = None
    limit_mm: float = SAG_MATTERS_MM
    ways: tuple[WayUp, ...] = ()
    why_not: str = ""
    refused: bool = False
    furnace_up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    remedies: tuple[Option, ...] = ()

    @property
    def unclear(self) -> bool:
        """Whether the quick estimate is so rough that only the full solve can say."""
        one = self.estimate
        if one is None or one.numerical_mm < one.sag_mm:
            return False
        return one.sag_mm > self.limit_mm or one.sag_mm + one.numerical_mm > SAG_MATTERS_MM

    @property
    def matters(self) -> bool:
        """Whether the estimated sag, or what it may be, is large enough to do something about."""
        one = self.estimate
        return one is not None and (one.sag_mm > self.limit_mm or bool(one.lost) or self.unclear)

    @property
    def leaves_unsure(self) -> bool:
        """Whether what is unsure of a sag that is taken off is more than matters."""
        one = self.taken_off
        return one is not None and not self.lost and one.unsure_mm > self.limit_mm

    @property
    def lost(self) -> bool:
        """Whether the part sags farther than the model follows: then no size can be promised."""
        if self.taken_off is None:
            return self.estimate is not None and bool(self.estimate.lost)
        from shrinkrule.sag import Saving

        return self.taken_off.verdict is Saving.HOPELESS

    @property
    def better(self) -> WayUp | None:
        """The best other way up, if it sags by much less than this one."""
        if self.taken_off is not None:
            now = self.taken_off.sag_before_mm
        elif self.estimate is not None:
            now = self.estimate.sag_mm
        else:
            return None
        up = np.array(self.furnace_up) / np.linalg.norm(self.furnace_up)
        others = (way for way in self.ways if way.stands and not np.allclose(way.up, up))
        return next((way for way in others if way.sag_mm < BETTER_WAY * now), None)


def look_at_sag(
    part: Part,
    recipe: Recipe,
    green: GreenPart,
    walls: WallReport,
    prediction: Prediction,
    progress: Progress,
) -> SagLook:
    """Take the sag off, or estimate it, as far as the recipe and the part allow.

    Parameters
    ----------
    part : Part
        The wanted part, which is solved in its fired size.
    recipe : Recipe
        Row, way up, and what to do about sag.
    green, walls : GreenPart, WallReport
        The same, scaled, and its walls as measured: they say how fine the bricks must be.
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
    from shrinkrule.sag import sag_material

    material = sag_material(recipe.row)
    lies = recipe.sag or recipe.lies or _as_printed(recipe)
    if lies.wall_mm is None:
        lies = replace(lies, wall_mm=thin_wall_mm(green, walls))
    try:
        if recipe.sag is not None:
            return _taken_off(part, material, lies, _limit_mm(prediction, lies), progress)
        return _estimated(part, material, lies, _limit_mm(prediction, lies), progress)
    except ShrinkruleError as refusal:
        # How the part lies cannot be solved; everything else of the job can still be done.
        advice = f"; {refusal.hint}" if refusal.hint else ""
        return SagLook(why_not=f"{refusal.what}{advice}", refused=True, remedies=refusal.options)


def thin_wall_mm(green: GreenPart, walls: WallReport) -> float | None:
    """Thickness that all but a twentieth of the wanted part's walls exceed.

    Parameters
    ----------
    green : GreenPart
        The part, scaled.
    walls : WallReport
        Its walls as measured, green.

    Returns
    -------
    float or None
        The thickness, mm; None where no wall was measured.
    """
    samples = walls.samples
    wall = samples.is_wall
    if not samples.area[wall].any():
        return None
    # As `Finding.wanted_mm`: planes so far apart in the green part, before it was scaled.
    stretched = np.linalg.norm(samples.normals[wall] * green.factors.per_axis, axis=1)
    return thin_twentieth(samples.thickness[wall] / stretched, samples.area[wall])


def _taken_off(
    part: Part, material: SagMaterial, lies: SagSettings, limit_mm: float, progress: Progress
) -> SagLook:
    """The sag and its allowance, and the six ways up where that is not the end of it."""
    from shrinkrule.sag import QUICK_UNKNOWNS, Saving, precurve, rank_ways_up

    stage = part_of(progress, 0.0, 1.0 - _ESTIMATE_SHARE)
    solved = precurve(part.mesh, material, lies, progress=stage)
    look = SagLook(taken_off=solved, limit_mm=limit_mm, furnace_up=lies.furnace_up)
    if not (look.leaves_unsure or solved.verdict in {Saving.HOPELESS, Saving.PARTLY}):
        return look
    rest = part_of(progress, 1.0 - _ESTIMATE_SHARE, _ESTIMATE_SHARE)
    quick = replace(lies, brick_mm=None)
    ways = rank_ways_up(part.mesh, material, quick, unknowns=QUICK_UNKNOWNS, progress=rest)
    return replace(look, ways=ways)


def _estimated(
    part: Part, material: SagMaterial, lies: SagSettings, limit_mm: float, progress: Progress
) -> SagLook:
    """The quick estimate, and the six ways up where it matters."""
    from shrinkrule.sag import QUICK_UNKNOWNS, estimate_sag, rank_ways_up

    stage = part_of(progress, 0.0, _ESTIMATE_SHARE)
    # A mesh of its own: what trimesh keeps of it, as corners and normals, goes with it.
    mesh = trimesh.Trimesh(part.mesh.vertices, part.mesh.faces, process=False, validate=False)
    estimate = estimate_sag(mesh, material, lies, progress=stage)
    look = SagLook(estimate=estimate, limit_mm=limit_mm, furnace_up=lies.furnace_up)
    if not look.matters or look.unclear:
        return look
    rest = part_of(progress, _ESTIMATE_SHARE, 1.0 - _ESTIMATE_SHARE)
    ways = rank_ways_up(
        mesh, material, lies, unknowns=QUICK_UNKNOWNS, known=estimate, progress=rest
    )
    return replace(look, ways=ways)


def _as_printed(recipe: Recipe) -> SagSettings:
    """The part fired the way up it was printed."""
    from shrinkrule.sag import SagSettings

    x, y, z = way_up(recipe.print_up)
    return SagSettings(furnace_up=(float(x), float(y), float(z)))


def _limit_mm(prediction: Prediction, lies: SagSettings) -> float:
    """Sag from which it matters: a tenth, or a share of the sizes' half width if that is less."""
    halves = [size.fired_mm.half95 for size in prediction.sizes if size.fired_mm.half95 is not None]
    shows = min([SAG_MATTERS_MM, *(SHARE_OF_SIZES * half for half in halves)])
    return max(shows, lies.tolerance_mm)


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
    points = np.asarray(part.mesh.vertices, dtype=np.float64)
    moved = field.at(points)
    sags: list[float | None] = []
    for one in found.dozen:
        if one.is_round:
            sags.append(None)
            continue
        way = np.array(one.direction)
        sags.append(length_change(one, way, points, moved, field.at(places_of_ends(one, way))))
    return tuple(sags)
