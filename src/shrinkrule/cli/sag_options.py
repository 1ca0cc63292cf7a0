"""Options of the sag solve, and how they become settings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final

import typer

from shrinkrule.defaults import SAG_TOLERANCE_MM
from shrinkrule.errors import SettingError
from shrinkrule.units import parse_length

if TYPE_CHECKING:
    from shrinkrule.sag import SagDetail, SagSettings, SupportBox

PANEL: Final = "Sag in the furnace"

TakeOff = Annotated[
    bool,
    typer.Option(
        "--sag",
        help="Compute how the part sags under its own weight while hot, and take that off.",
        rich_help_panel=PANEL,
    ),
]
LeaveOut = Annotated[
    bool,
    typer.Option(
        "--no-sag",
        help="Do not look at sag at all. Without it, sag is estimated where the row has a sag "
        "modulus, and the verdict says so where it matters.",
        rich_help_panel=PANEL,
    ),
]
FurnaceUp = Annotated[
    str | None,
    typer.Option(
        metavar="AXIS",
        help="Model axis that points up in the furnace. Without it: as printed.",
        show_default=False,
        rich_help_panel=PANEL,
    ),
]
Support = Annotated[
    list[str] | None,
    typer.Option(
        metavar="X,Y,Z,X,Y,Z",
        help="Box, by two corners in the model, whose undersides a setter block or ballast "
        "holds up. May be given several times.",
        show_default=False,
        rich_help_panel=PANEL,
    ),
]
Stuck = Annotated[
    bool,
    typer.Option(
        "--stuck",
        help="The part sticks to the setter where it touches, instead of sliding.",
        rich_help_panel=PANEL,
    ),
]
FlatBase = Annotated[
    bool,
    typer.Option(
        "--flat-base",
        help="Leave faces that stand on the setter flat, even if they then rock a little.",
        rich_help_panel=PANEL,
    ),
]
Tolerance = Annotated[
    str | None,
    typer.Option(
        "--sag-tolerance",
        metavar="MM",
        help=f"Pre-curve until no more than this is left. Without it: {SAG_TOLERANCE_MM:g}.",
        show_default=False,
        rich_help_panel=PANEL,
    ),
]
Detail = Annotated[
    str,
    typer.Option(
        "--sag-detail",
        metavar="HOW",
        help="How finely sag is solved: coarse (a few seconds), usual (to about 2 % where that "
        "takes no more than some 20 seconds a solve), fine (minutes, 2 GB), or the number of "
        "unknowns it may take, as 500000, with no limit of time (about 1.4 GB for a million).",
        rich_help_panel=PANEL,
    ),
]
FEWEST_UNKNOWNS: Final = 1000
"""A solve on fewer unknowns means nothing."""


def detail_from(text: str) -> SagDetail:
    """How finely sag is solved, from the option's text."""
    from shrinkrule.sag import DETAILS, SagDetail

    word = text.strip().lower()
    if word in DETAILS:
        return DETAILS[word]
    digits = word.translate({ord(mark): None for mark in ",_ "})
    if not digits.isdecimal() or int(digits) < FEWEST_UNKNOWNS:
        raise SettingError(
            f"{text!r} is no detail of a sag",
            where="--sag-detail",
            hint=f"use {', '.join(DETAILS)}, or a number of unknowns from {FEWEST_UNKNOWNS} on",
        )
    return SagDetail.budget(int(digits))


def settings_from(
    furnace_up: str,
    support: list[str] | None,
    stuck: bool,
    flat_base: bool,
    tolerance_mm: float = SAG_TOLERANCE_MM,
    detail: str = "usual",
) -> SagSettings:
    """Sag settings from the texts of their options."""
    from shrinkrule.compensation import way_up
    from shrinkrule.sag import Base, Friction, SagSettings

    x, y, z = way_up(furnace_up)
    how = detail_from(detail)
    return SagSettings(
        furnace_up=(float(x), float(y), float(z)),
        supports=tuple(_support(text) for text in support or ()),
        friction=Friction.DRAG if stuck else Friction.FREE,
        base=Base.FLAT if flat_base else Base.FOLLOW,
        tolerance_mm=tolerance_mm,
        max_unknowns=how.max_unknowns,
        bricks_wanted=how.bricks_wanted,
        sure_share=how.sure_share,
        max_seconds=how.max_seconds,
    )


def _support(text: str) -> SupportBox:
    from shrinkrule.sag import SupportBox

    numbers = [parse_length(part, "--support") for part in text.split(",")]
    if len(numbers) != 6:
        raise SettingError(
            f"{text!r} is no box",
            where="--support",
            hint="give two corners as six numbers: x,y,z of the low one, x,y,z of the high one",
        )
    a, b, c, d, e, f = numbers
    return SupportBox((min(a, d), min(b, e), min(c, f)), (max(a, d), max(b, e), max(c, f)))
