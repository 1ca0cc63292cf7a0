"""The largest piece a furnace takes: a box or a round crucible, by its inside sizes.

A green piece must stand inside with a little room all round, because it must not touch
the wall it is fired beside and many makers bed it in ballast.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import sqrt
from typing import Final

import numpy as np

from shrinkrule.defaults import LARGEST_ROOM_MM
from shrinkrule.errors import SettingError
from shrinkrule.numerics.arrays import Floats
from shrinkrule.units import parse_sizes

CLEARANCE_MM: Final = 2.0
"""Room kept to each wall and to the lid: a finger's slack, so that nothing is scraped in or out."""


class _Chamber:
    """What a box and a crucible have in common: a height, and ballast in it."""

    height_mm: float
    ballast_below_mm: float
    ballast_above_mm: float

    @property
    def usable_height_mm(self) -> float:
        """Height a green part may have."""
        ballast = self.ballast_below_mm + self.ballast_above_mm
        return self.height_mm - ballast - 2.0 * CLEARANCE_MM

    @property
    def _ballast_text(self) -> str:
        """Ballast for a sentence, empty where there is none."""
        below, above = self.ballast_below_mm, self.ballast_above_mm
        if not below + above:
            return ""
        return f", {below:g} mm of ballast below and {above:g} mm above"


@dataclass(frozen=True)
class BoxFurnace(_Chamber):
    """A box-shaped chamber or sagger, inside sizes in mm.

    Parameters
    ----------
    length_mm, width_mm, height_mm : float
        Inside sizes; height upward.
    ballast_below_mm, ballast_above_mm : float
        Depth of ballast that parts lie on, and that covers them.

    Raises
    ------
    SettingError
        For sizes that cannot be, or ballast that leaves no room.
    """

    length_mm: float
    width_mm: float
    height_mm: float
    ballast_below_mm: float = 0.0
    ballast_above_mm: float = 0.0

    def __post_init__(self) -> None:
        _check_sizes((self.length_mm, self.width_mm, self.height_mm))
        _check_ballast(self.height_mm, self.ballast_below_mm, self.ballast_above_mm)

    @property
    def longest_mm(self) -> float:
        """Longest side of the room on the floor."""
        return max(self.length_mm, self.width_mm) - 2.0 * CLEARANCE_MM

    def longest_bar_mm(self, width: float) -> float:
        """Longest bar of a width in mm that lies on the floor by itself."""
        return self.longest_mm if width <= self.shortest_mm else 0.0

    @property
    def shortest_mm(self) -> float:
        """Shortest side of the room on the floor."""
        return min(self.length_mm, self.width_mm) - 2.0 * CLEARANCE_MM

    def floor_takes(self, points: Floats) -> bool:
        """Whether outline points (n, 2) in mm fit the floor, in this turn or a quarter turn on."""
        size = np.ptp(points, axis=0)
        room = np.array([self.length_mm, self.width_mm]) - 2.0 * CLEARANCE_MM
        return bool(np.all(size <= room) or np.all(size[::-1] <= room))

    def __str__(self) -> str:
        sizes = f"{self.length_mm:g} x {self.width_mm:g} x {self.height_mm:g} mm"
        return f"box {sizes} inside{self._ballast_text}"


@dataclass(frozen=True)
class CrucibleFurnace(_Chamber):
    """A round crucible or chamber, inside sizes in mm.

    Parameters
    ----------
    diameter_mm, height_mm : float
        Inside sizes; height upward.
    ballast_below_mm, ballast_above_mm : float
        Depth of ballast that parts lie on, and that covers them.

    Raises
    ------
    SettingError
        For sizes that cannot be, or ballast that leaves no room.
    """

    diameter_mm: float
    height_mm: float
    ballast_below_mm: float = 0.0
    ballast_above_mm: float = 0.0

    def __post_init__(self) -> None:
        _check_sizes((self.diameter_mm, self.height_mm))
        _check_ballast(self.height_mm, self.ballast_below_mm, self.ballast_above_mm)

    @property
    def longest_mm(self) -> float:
        """Room across the floor."""
        return self.diameter_mm - 2.0 * CLEARANCE_MM

    def longest_bar_mm(self, width: float) -> float:
        """Longest bar of a width in mm that lies on the floor by itself."""
        return sqrt(max(self.longest_mm**2 - width**2, 0.0))

    def floor_takes(self, points: Floats) -> bool:
        """Whether outline points (n, 2) in mm fit the floor."""
        _, radius = enclosing_circle(points)
        return radius <= self.longest_mm / 2.0

    def __str__(self) -> str:
        sizes = f"{self.diameter_mm:g} mm across, {self.height_mm:g} mm high"
        return f"crucible {sizes} inside{self._ballast_text}"


Furnace = BoxFurnace | CrucibleFurnace


def enclosing_circle(points: Floats) -> tuple[Floats, float]:
    """Centre and radius of the smallest circle around points (n, 2).

    It passes through two or three of them. The circle of a few points is widened by the
    point farthest outside until none is; its radius rises each time, so it ends.

    Parameters
    ----------
    points : (n, 2) float64
        At least one point.

    Returns
    -------
    centre : (2,) float64
        Its centre.
    radius : float
        Its radius.

    Examples
    --------
    >>> enclosing_circle(np.array([[0.0, 0.0], [6.0, 0.0], [0.0, 8.0]]))[1]
    5.0
    """
    first = points[np.argmax(np.linalg.norm(points - points.mean(axis=0), axis=1))]
    held = np.array([first, points[np.argmax(np.linalg.norm(points - first, axis=1))]])
    while True:
        centre, radius = _circle_of_few(held)
        reach = np.linalg.norm(points - centre, axis=1)
        if reach.max() <= radius * (1.0 + 1e-12):
            return centre, radius
        on_it = np.linalg.norm(held - centre, axis=1) >= radius * (1.0 - 1e-9)
        held = np.vstack([held[on_it], points[np.argmax(reach)]])


def _circle_of_few(points: Floats) -> tuple[Floats, float]:
    """Smallest circle around a handful of points: the best through two or three of them."""
    two = np.array(list(combinations(range(len(points)), 2)))
    centres = [points[two].mean(axis=1)]
    if len(points) > 2:
        three = np.array(list(combinations(range(len(points)), 3)))
        a, b, c = (points[three[:, i]] for i in range(3))
        sides = np.stack([b - a, c - a], axis=1)
        in_line = np.abs(np.linalg.det(sides)) <= 1e-12 * np.abs(sides).max() ** 2
        squares = 0.5 * np.sum(sides[~in_line] ** 2, axis=2)[..., None]
        centres.append(a[~in_line] + np.linalg.solve(sides[~in_line], squares)[..., 0])
    middle = np.vstack(centres)
    reach = np.linalg.norm(points[None] - middle[:, None], axis=2).max(axis=1)
    best = int(np.argmin(reach))
    return middle[best], float(reach[best])


@dataclass(frozen=True)
class FurnaceFit:
    """Whether a green part stands in a furnace.

    Parameters
    ----------
    spare_mm : float
        Room left beyond the clearance, at the tightest place; negative where it does not fit.
    tight : str
        The tightest direction: ``height`` or ``floor``.
    turned_deg : float
        How far to turn the part about the vertical for that, from how it was printed.
    stage : str
        The part that takes most room, as it lies in the furnace: ``green`` or ``fired``.
    """

    spare_mm: float
    tight: str
    turned_deg: float
    stage: str = "green"

    @property
    def too(self) -> str:
        """What it is too much of where it does not fit: high, or wide."""
        return "high" if self.tight == "height" else "wide"

    @property
    def fits(self) -> bool:
        """Whether it fits with clearance all round."""
        return self.spare_mm >= 0.0


def fit_in_furnace(points: Floats, furnace: Furnace) -> FurnaceFit:
    """See how a green part stands in a furnace, turned about Z as suits it best.

    Parameters
    ----------
    points : (n, 3) float64
        Points of the green part, furnace frame (Z up), mm.
    furnace : BoxFurnace or CrucibleFurnace
        Inside sizes.

    Returns
    -------
    FurnaceFit
        Whether it fits, how much room is left, and the turn that leaves it.
    """
    height_spare = furnace.usable_height_mm - float(np.ptp(points[:, 2]))
    flat = points[:, :2]
    if isinstance(furnace, CrucibleFurnace):
        floor_spare, turn = furnace.longest_mm - 2.0 * enclosing_circle(flat)[1], 0.0
    else:
        room = np.array([furnace.length_mm, furnace.width_mm]) - 2.0 * CLEARANCE_MM
        # A degree of turn moves the corner of a 100 mm part by under 1 mm, within the clearance.
        turns = np.radians(np.arange(180.0))
        across = flat @ np.vstack([np.cos(turns), np.sin(turns)])
        along = flat @ np.vstack([-np.sin(turns), np.cos(turns)])
        spare = np.minimum(room[0] - np.ptp(across, axis=0), room[1] - np.ptp(along, axis=0))
        floor_spare, turn = float(spare.max()), float(np.argmax(spare))
    if height_spare < floor_spare:
        return FurnaceFit(height_spare, "height", turn)
    return FurnaceFit(floor_spare, "floor", turn)


def parse_box(text: str) -> BoxFurnace:
    """Box from a text such as ``80x60x50``, in mm.

    Parameters
    ----------
    text : str
        Length, width and height.

    Returns
    -------
    BoxFurnace
        The furnace.

    Raises
    ------
    SettingError
        For a text that is not three sizes.

    Examples
    --------
    >>> parse_box("80x60x50").usable_height_mm
    46.0
    """
    return BoxFurnace(*_sizes(text, 3, "box", "length x width x height", "80x60x50"))


def parse_crucible(text: str) -> CrucibleFurnace:
    """Crucible from a text such as ``90x60``, in mm.

    Parameters
    ----------
    text : str
        Diameter and height.

    Returns
    -------
    CrucibleFurnace
        The furnace.

    Raises
    ------
    SettingError
        For a text that is not two sizes.

    Examples
    --------
    >>> parse_crucible("90x60").longest_mm
    86.0
    """
    return CrucibleFurnace(*_sizes(text, 2, "crucible", "diameter x height", "90x60"))


def _sizes(text: str, count: int, what: str, order: str, example: str) -> list[float]:
    """Inside sizes out of a text, mm; refused if they are not so many."""
    sizes = parse_sizes(text)
    if len(sizes) != count:
        raise SettingError(
            f"{text!r} is not a {what}",
            where=what,
            hint=f"write {order} inside in mm, as {example}",
        )
    return sizes


def _check_sizes(sizes: tuple[float, ...]) -> None:
    for size in sizes:
        if not 10.0 <= size <= LARGEST_ROOM_MM:
            raise SettingError(
                f"{size:g} mm is no inside size of a furnace",
                where="furnace",
                hint="measure the inside of the box or crucible and give it in mm",
            )


def _check_ballast(height: float, below: float, above: float) -> None:
    for depth in (below, above):
        if not 0.0 <= depth <= 1000.0:
            raise SettingError(
                f"{depth:g} mm is no depth of ballast",
                where="furnace",
                hint="give the depth of ballast below and above the parts in mm",
            )
    if below + above > 0.0 and below + above + 2.0 * CLEARANCE_MM >= height:
        raise SettingError(
            f"{below + above:g} mm of ballast leave no room in a height of {height:g} mm",
            where="furnace",
            hint="take a higher one, or state less ballast_below and ballast_above in the settings",
        )
