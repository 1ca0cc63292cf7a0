"""The printer a part is made for, how it is turned, and how thin its thin places are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import trimesh

from .part import (
    SINGLE_BEAD,
    SINGLE_BEAD_PIN,
    THIN_FLOOR,
    THIN_PIN,
    THIN_WALL,
    WEIGHT_OF_KIND,
    Expected,
    FloatArray,
)

#: A wall whose thickness runs within this angle of the build axis is a floor (degrees).
FLOOR_ANGLE = 30.0
#: No thickness direction is planted nearer to that border than this (degrees).
BORDER_MARGIN = 5.0
Z_AXIS = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Draft:
    """A part before it is turned and moved.

    ``expected`` and ``mesh`` are in one frame; ``turn`` (3 x 3) brings both to the printer's.
    """

    mesh: trimesh.Trimesh
    expected: tuple[Expected, ...]
    allowed: frozenset[str]
    description: str
    turn: FloatArray


def _no_turn() -> FloatArray:
    return np.eye(3)


@dataclass
class Setting:
    """Draws everything a family leaves open.

    Attributes
    ----------
    rng
        The seeded source of all draws.
    nozzle, layer
        In mm; a bead is 1.1 nozzles wide.
    sound
        Whether the part must have nothing thin.
    fine
        Whether the part gets many facets.
    turn
        Rotation from the family's frame to the printer's; set before a thickness is drawn.
    """

    rng: np.random.Generator
    nozzle: float
    layer: float
    sound: bool
    fine: bool
    turn: FloatArray = field(default_factory=_no_turn)

    @property
    def bead(self) -> float:
        """Width of a bead."""
        return 1.1 * self.nozzle

    @property
    def floor(self) -> float:
        """Least thickness of a floor: three layers."""
        return 3.0 * self.layer

    def between(self, low: float, high: float) -> float:
        """Draw a length or an angle."""
        return float(self.rng.uniform(low, high))

    def whole(self, low: int, high: int) -> int:
        """Draw a whole number from ``low`` to ``high``, both included."""
        return int(self.rng.integers(low, high + 1))

    def chance(self, share: float) -> bool:
        """Say yes in this share of cases."""
        return bool(self.rng.random() < share)

    def one_of(self, names: Sequence[str]) -> str:
        """Draw one of several names."""
        return names[int(self.rng.integers(len(names)))]

    def sides(self, coarse: tuple[int, int], fine: tuple[int, int]) -> int:
        """Draw an even number of flats for something round."""
        low, high = fine if self.fine else coarse
        return 2 * self.whole(low // 2, high // 2)

    # How the part stands

    def stand(self) -> None:
        """Leave the part upright, turned about Z only."""
        self.turn = about_z(self.between(0, 360))

    def lean(self, most: float) -> None:
        """Lean the part's Z axis by up to ``most`` degrees."""
        tilt = rotation(np.array([1.0, 0.0, 0.0]), self.between(0, most))
        self.turn = about_z(self.between(0, 360)) @ tilt @ about_z(self.between(0, 360))

    def stand_or_lean(self, most: float) -> None:
        """Stand in half of the cases, lean in the others."""
        if self.chance(0.5):
            self.stand()
        else:
            self.lean(most)

    def tumble(self, directions: FloatArray | None = None) -> None:
        """Turn at random in space, with no thickness direction near the floors' border."""
        for _ in range(400):
            turn = random_rotation(self.rng)
            if directions is None or clear_of_border(directions, turn):
                self.turn = turn
                return
        self.stand()

    # How thick

    def is_floor(self, direction: FloatArray) -> bool:
        """Whether a wall with this thickness direction is a floor as the part stands."""
        return bool(angle_to_z(self.turn @ direction) < FLOOR_ANGLE)

    def wall(self, most_beads: float = 1.96) -> float:
        """Draw the thickness of an upright wall or of a wire, as the mode has it."""
        bead = self.bead
        if self.sound:
            return self.between(2.1, 4.0) * bead if self.chance(0.7) else self.between(4, 6) * bead
        if self.chance(0.65) or most_beads < 1.1:
            return self.between(0.5, min(0.975, most_beads)) * bead
        return self.between(1.03, most_beads) * bead

    def sheet(self, direction: FloatArray) -> float:
        """Draw the thickness of a sheet, by the limit that holds for its direction."""
        if not self.is_floor(direction):
            return self.wall()
        return (
            self.between(1.05, 3.0) * self.floor
            if self.sound
            else (self.between(0.5, 0.975) * self.floor)
        )

    # What is to be told

    def sheet_place(
        self,
        thickness: float,
        direction: FloatArray,
        at: FloatArray,
        area: float | None,
        slack: float = 0.0,
    ) -> tuple[Expected, ...]:
        """Tell a sheet of this thickness, if it is under its limit.

        Parameters
        ----------
        thickness
            Diameter of its least ball.
        direction
            Its thickness direction in the family's frame.
        at
            Centres of least balls.
        area
            Lower bound for its area, both sides.
        slack
            What facets may change, on top of half a percent.
        """
        if self.is_floor(direction):
            kind = THIN_FLOOR if thickness < self.floor else ""
        else:
            return self.wall_place(thickness, at, area, slack)
        return (self.place((kind,), thickness, at, area, slack),) if kind else ()

    def wall_place(
        self, thickness: float, at: FloatArray, area: float | None, slack: float = 0.0
    ) -> tuple[Expected, ...]:
        """Tell a sheet that is a wall as the part stands, if it is under its limit."""
        if thickness < self.bead:
            return (self.place((THIN_WALL,), thickness, at, area, slack),)
        if thickness < 2 * self.bead:
            return (self.place((SINGLE_BEAD,), thickness, at, area, slack),)
        return ()

    def wire_place(
        self, ball: float, at: FloatArray, area: float | None, slack: float = 0.0
    ) -> tuple[Expected, ...]:
        """Tell a wire, pin or net with this least ball, if it is under its limit."""
        if ball < self.bead:
            return (self.place((THIN_PIN,), ball, at, area, slack),)
        if ball < 2 * self.bead:
            return (self.place((SINGLE_BEAD_PIN,), ball, at, area, slack),)
        return ()

    def place(
        self,
        kinds: Sequence[str],
        least: float,
        at: FloatArray,
        area: float | None,
        slack: float = 0.0,
        count: int = 1,
    ) -> Expected:
        """Tell a place under one of these names."""
        weights = {WEIGHT_OF_KIND[kind] for kind in kinds}
        return Expected(
            kinds=frozenset(kinds),
            least_mm=least,
            tolerance_mm=max(0.005 * least, 0.002) + slack,
            at=np.atleast_2d(np.asarray(at, dtype=np.float64)),
            min_area_mm2=area,
            count=count,
            weighs="look" if "look" in weights else "stop",
        )

    def draft(
        self,
        mesh: trimesh.Trimesh,
        expected: Sequence[Expected],
        allowed: Sequence[str],
        description: str,
    ) -> Draft:
        """Put a part together as it stands."""
        return Draft(mesh, tuple(expected), frozenset(allowed), description, self.turn)


def angle_to_z(direction: FloatArray) -> float:
    """Angle between a line and the build axis, 0 to 90 degrees."""
    cosine = abs(float(direction[2])) / float(np.linalg.norm(direction))
    return math.degrees(math.acos(min(1.0, cosine)))


def clear_of_border(directions: FloatArray, turn: FloatArray) -> bool:
    """Whether no thickness direction lies near the border between walls and floors."""
    turned = np.atleast_2d(directions) @ turn.T
    cosines = np.abs(turned[:, 2]) / np.linalg.norm(turned, axis=1)
    angles = np.degrees(np.arccos(np.minimum(1.0, cosines)))
    return bool((np.abs(angles - FLOOR_ANGLE) > BORDER_MARGIN).all())


def rotation(axis: FloatArray, degrees: float) -> FloatArray:
    """Rotation about an axis through the origin."""
    x, y, z = axis / np.linalg.norm(axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = math.radians(degrees)
    turned: FloatArray = np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross
    return turned


def about_z(degrees: float) -> FloatArray:
    """Rotation about the build axis."""
    return rotation(Z_AXIS, degrees)


def random_rotation(rng: np.random.Generator) -> FloatArray:
    """Rotation drawn evenly from all rotations."""
    w, x, y, z = (value := rng.normal(size=4)) / np.linalg.norm(value)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
