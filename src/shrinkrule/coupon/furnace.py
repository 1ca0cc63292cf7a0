"""The largest piece a furnace takes: a box or a round crucible, by its inside sizes.

A coupon must stand inside with a little room all round, because green parts must not
touch the wall they are fired beside and many makers bed them in ballast.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import combinations
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from shrinkrule.errors import SettingError

CLEARANCE_MM: Final = 2.0
"""Room kept to each wall and to the lid: a finger's slack, so that nothing is scraped in or out."""

_SIZES: Final = re.compile(r"^\s*\d+(?:[.,]\d+)?(?:\s*[xX×*]\s*\d+(?:[.,]\d+)?)+\s*(?:mm)?\s*$")


@dataclass(frozen=True)
class BoxFurnace:
    """A box-shaped chamber or sagger, inside sizes in mm.

    Parameters
    ----------
    length_mm, width_mm, height_mm : float
        Inside sizes; height upward.
    """

    length_mm: float
    width_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        _check_sizes((self.length_mm, self.width_mm, self.height_mm))

    @property
    def usable_height_mm(self) -> float:
        """Height a green part may have."""
        return self.height_mm - 2.0 * CLEARANCE_MM

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

    def floor_takes(self, points: NDArray[np.float64]) -> bool:
        """Whether outline points (n, 2) in mm fit the floor, in this turn or a quarter turn on."""
        size = np.ptp(points, axis=0)
        room = np.array([self.length_mm, self.width_mm]) - 2.0 * CLEARANCE_MM
        return bool(np.all(size <= room) or np.all(size[::-1] <= room))

    def __str__(self) -> str:
        return f"box {self.length_mm:g} x {self.width_mm:g} x {self.height_mm:g} mm inside"


@dataclass(frozen=True)
class CrucibleFurnace:
    """A round crucible or chamber, inside sizes in mm.

    Parameters
    ----------
    diameter_mm, height_mm : float
        Inside sizes; height upward.
    """

    diameter_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        _check_sizes((self.diameter_mm, self.height_mm))

    @property
    def usable_height_mm(self) -> float:
        """Height a green part may have."""
        return self.height_mm - 2.0 * CLEARANCE_MM

    @property
    def longest_mm(self) -> float:
        """Room across the floor."""
        return self.diameter_mm - 2.0 * CLEARANCE_MM

    def longest_bar_mm(self, width: float) -> float:
        """Longest bar of a width in mm that lies on the floor by itself."""
        return sqrt(max(self.longest_mm**2 - width**2, 0.0))

    def floor_takes(self, points: NDArray[np.float64]) -> bool:
        """Whether outline points (n, 2) in mm fit the floor."""
        _, radius = enclosing_circle(points)
        return radius <= self.longest_mm / 2.0

    def __str__(self) -> str:
        return f"crucible {self.diameter_mm:g} mm across, {self.height_mm:g} mm high inside"


Furnace = BoxFurnace | CrucibleFurnace


def enclosing_circle(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Centre and radius of the smallest circle around points (n, 2) that are not in one line.

    It passes through two or three corners of their hull, so it is the best of the circles
    through any two or three of them.

    Examples
    --------
    >>> enclosing_circle(np.array([[0.0, 0.0], [6.0, 0.0], [0.0, 8.0]]))[1]
    5.0
    """
    hull = points[ConvexHull(points).vertices]
    two = np.array(list(combinations(range(len(hull)), 2)))
    three = np.array(list(combinations(range(len(hull)), 3)))
    a, b, c = (hull[three[:, i]] for i in range(3))
    sides = np.stack([b - a, c - a], axis=1)
    squares = 0.5 * np.sum(sides**2, axis=2)[..., None]
    centres = np.vstack([hull[two].mean(axis=1), a + np.linalg.solve(sides, squares)[..., 0]])
    reach = np.linalg.norm(hull[None] - centres[:, None], axis=2).max(axis=1)
    best = int(np.argmin(reach))
    return centres[best], float(reach[best])


def parse_box(text: str) -> BoxFurnace:
    """Box from a text such as ``80x60x50``, in mm.

    Raises
    ------
    SettingError
        For a text that is not three sizes.

    Examples
    --------
    >>> parse_box("80x60x50").usable_height_mm
    46.0
    """
    sizes = _sizes(text)
    if len(sizes) != 3:
        raise SettingError(
            f"{text!r} is not a box",
            where="box",
            mend="write length x width x height inside in mm, as 80x60x50",
        )
    return BoxFurnace(*sizes)


def parse_crucible(text: str) -> CrucibleFurnace:
    """Crucible from a text such as ``90x60``, in mm.

    Raises
    ------
    SettingError
        For a text that is not two sizes.

    Examples
    --------
    >>> parse_crucible("90x60").longest_mm
    86.0
    """
    sizes = _sizes(text)
    if len(sizes) != 2:
        raise SettingError(
            f"{text!r} is not a crucible",
            where="crucible",
            mend="write diameter x height inside in mm, as 90x60",
        )
    return CrucibleFurnace(*sizes)


def _sizes(text: str) -> list[float]:
    if not _SIZES.match(text):
        return []
    return [float(s.replace(",", ".")) for s in re.findall(r"\d+(?:[.,]\d+)?", text)]


def _check_sizes(sizes: tuple[float, ...]) -> None:
    for size in sizes:
        if not 10.0 <= size <= 5000.0:
            raise SettingError(
                f"{size:g} mm is no inside size of a furnace",
                where="furnace",
                mend="measure the inside of the box or crucible and give it in mm",
            )
