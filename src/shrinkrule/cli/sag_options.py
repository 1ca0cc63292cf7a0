"""Options of the sag solve, and how they become settings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final

import typer

from shrinkrule.defaults import SAG_TOLERANCE_MM, SAG_UNKNOWNS
from shrinkrule.errors import SettingError
from shrinkrule.units import parse_length

if TYPE_CHECKING:
    from shrinkrule.sag import SagSettings, SupportBox

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
Unknowns = Annotated[
    int,
    typer.Option(
        "--sag-unknowns",
        metavar="N",
        help="Largest number of unknowns to solve for: more is finer, slower, and needs about "
        "1.4 GB for a million.",
        min=1000,
        rich_help_panel=PANEL,
    ),
]


def settings_from(
    furnace_up: str,
    support: list[str] | None,
    stuck: bool,
    flat_base: bool,
    tolerance_mm: float = SAG_TOLERANCE_MM,
    unknowns: int = SAG_UNKNOWNS,
) -> SagSettings:
    """Sag settings from the texts of their options."""
    from shrinkrule.compensation import way_up
    from shrinkrule.sag import Base, Friction, SagSettings

    x, y, z = way_up(furnace_up)
    return SagSettings(
        furnace_up=(float(x), float(y), float(z)),
        supports=tuple(_support(text) for text in support or ()),
        friction=Friction.DRAG if stuck else Friction.FREE,
        base=Base.FLAT if flat_base else Base.FOLLOW,
        tolerance_mm=tolerance_mm,
        max_unknowns=unknowns,
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
