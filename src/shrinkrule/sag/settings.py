"""How a part lies in the furnace, what holds it, and how finely its sag is solved."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, TypeVar

import numpy as np

from shrinkrule.defaults import SAG_TOLERANCE_MM, SAG_UNKNOWNS
from shrinkrule.errors import MeshError, Option, SettingError
from shrinkrule.numerics.arrays import Floats

Choice = TypeVar("Choice", bound=StrEnum)


TOUCHING_MM: Final = 0.01
"""Bodies nearer than this touch: files hold single precision, and no bead is printed finer."""


class Friction(StrEnum):
    """How the setter plate holds the faces that rest on it."""

    FREE = "free"
    DRAG = "drag"


class Base(StrEnum):
    """What pre-curving does to the faces that stand on the plate."""

    FOLLOW = "follow"
    FLAT = "flat"


@dataclass(frozen=True)
class SupportBox:
    """A region whose undersides a setter block or ballast holds up.

    Parameters
    ----------
    low_mm, high_mm : tuple of three floats
        Opposite corners in the mesh's frame, mm.
    """

    low_mm: tuple[float, float, float]
    high_mm: tuple[float, float, float]

    def __post_init__(self) -> None:
        if not all(a < b for a, b in zip(self.low_mm, self.high_mm, strict=True)):
            raise SettingError(
                f"the support box from {self.low_mm} to {self.high_mm} is empty",
                hint="give its low corner first and its high corner second",
            )


@dataclass(frozen=True)
class SupportFacets:
    """Facets of the mesh that a setter block or ballast holds up.

    Parameters
    ----------
    facets : tuple of ints
        Facet numbers in the mesh.
    """

    facets: tuple[int, ...]


@dataclass(frozen=True)
class SagDetail:
    """How finely a sag is solved, and what that may take.

    Parameters
    ----------
    max_unknowns : int
        No plan asks for more unknowns than this.
    bricks_wanted : float
        Bricks through the thinnest wall to begin with, where they fit; infinite: as many as fit.
    sure_share : float
        Bricks are refined while they may leave more than this share of the sag unsure.
    max_seconds : float
        No grid is chosen that takes longer than this, s of processor time, about.
    """

    max_unknowns: int = SAG_UNKNOWNS
    bricks_wanted: float = 4.0
    sure_share: float = 0.02
    max_seconds: float = 20.0

    @classmethod
    def budget(cls, unknowns: int) -> SagDetail:
        """As fine as so many unknowns allow, however long that takes."""
        return cls(unknowns, np.inf, cls.sure_share, np.inf)


DETAILS: Final = {
    "coarse": SagDetail(40_000, 2.0, 0.05, 5.0),
    "usual": SagDetail(),
    "fine": SagDetail(1_000_000, 8.0, 0.005, 120.0),
}
"""Details by name. A second of processor time is that of a machine of two cores."""


def _one_of(kind: type[Choice], name: str) -> Choice:
    """A member of an enumeration by its name, or a refusal that lists them."""
    try:
        return kind(name)
    except ValueError:
        known = ", ".join(kind)
        raise SettingError(
            f"{name!r} is no {kind.__name__.lower()}", hint=f"use one of {known}"
        ) from None


@dataclass(frozen=True)
class SagSettings:
    """How the part lies in the furnace and how finely it is solved.

    Parameters
    ----------
    furnace_up : tuple of three floats
        Upward direction in the furnace, in the mesh's frame; need not be of unit length.
    brick_mm : float or None
        Side of the bricks, mm; None lets the plan choose it.
    max_unknowns : int
        No plan asks for more unknowns than this.
    max_memory : int
        No plan asks for more memory than this, bytes.
    bricks_wanted : float
        Bricks through the thinnest wall to begin with, where they fit; infinite: as many as fit.
    sure_share : float
        Bricks are refined while they may leave more than this share of the sag unsure.
    max_seconds : float
        No grid is chosen that takes longer than this, s of processor time, about.
    friction : Friction
        Free sliding on the plate, or stuck to it where it is touched.
    supports : tuple of SupportBox or SupportFacets
        Regions held from below besides the plate.
    base : Base
        Whether the underside may be curved too, or stays flat for the print bed.
    tolerance_mm : float
        Pre-curving stops once the remaining error is below this, mm.
    max_rounds : int
        Pre-curving fires the part at most this often.
    wall_mm : float or None
        Thinnest load-bearing wall where it is known already, mm; None measures it.

    Raises
    ------
    SettingError
        For a value out of its range.
    """

    furnace_up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    brick_mm: float | None = None
    max_unknowns: int = SAG_UNKNOWNS
    max_memory: int = 4_000_000_000
    bricks_wanted: float = 4.0
    sure_share: float = 0.02
    max_seconds: float = 20.0
    friction: Friction = Friction.FREE
    supports: tuple[SupportBox | SupportFacets, ...] = field(default=())
    base: Base = Base.FOLLOW
    tolerance_mm: float = SAG_TOLERANCE_MM
    max_rounds: int = 4
    wall_mm: float | None = None

    def __post_init__(self) -> None:
        up = np.asarray(self.furnace_up, dtype=np.float64)
        if up.shape != (3,) or not np.all(np.isfinite(up)) or not np.linalg.norm(up) > 0.0:
            raise SettingError(
                f"{self.furnace_up} is not a direction",
                where="furnace up",
                hint="give three numbers that are not all zero, such as 0,0,1",
            )
        for name, value in (
            ("brick side", self.brick_mm),
            ("wall", self.wall_mm),
            ("number of unknowns", self.max_unknowns),
            ("memory", self.max_memory),
            ("share", self.sure_share),
            ("tolerance", self.tolerance_mm),
            ("number of rounds", self.max_rounds),
        ):
            if value is not None and not (np.isfinite(value) and value > 0):
                raise SettingError(
                    f"a {name} of {value:g} is impossible", hint="give a positive number"
                )
        object.__setattr__(self, "friction", _one_of(Friction, self.friction))
        object.__setattr__(self, "base", _one_of(Base, self.base))

    @property
    def up(self) -> Floats:
        """Upward unit vector in the mesh's frame, (3,)."""
        up = np.asarray(self.furnace_up, dtype=np.float64)
        return up / np.linalg.norm(up)


class DoesNotStandError(MeshError):
    """A part does not stand as it is set down."""


def does_not_stand(what: str) -> DoesNotStandError:
    """Refusal of a part that does not stand, with what helps.

    Parameters
    ----------
    what : str
        What is wrong.

    Returns
    -------
    DoesNotStandError
        The error to raise.
    """
    return DoesNotStandError(
        what,
        hint="set it another way up or hold it with a setter block",
        options=(Option.FURNACE_UP, Option.SUPPORT),
    )
