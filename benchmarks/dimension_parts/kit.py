"""What the families of parts are made with: random sizes, bores, slots, pockets and bosses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from .body import Body
from .outlines import rounded, slot_outline
from .solids import (
    PLANE,
    Array,
    Frame,
    Side,
    frame_along,
    loft,
    prism,
    turned,
)

FACETS = (12, 16, 20, 24, 30, 32, 36, 48, 64, 72, 96, 128, 180, 256, 360, 512)
OVER_MM = 1.0

UPRIGHT = frame_along((0, 0, 1), (0, 0, 0))
ALONG_X = Frame(np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]]), np.zeros(3))
"""Local X and Y are the part's Y and Z."""
ALONG_Y = Frame(np.array([[0.0, 1, 0], [0, 0, 1], [1, 0, 0]]), np.zeros(3))
"""Local X and Y are the part's Z and X."""


def share(facets: int) -> float:
    """Area of a polygon on a circle of radius 1.

    Parameters
    ----------
    facets
        Its sides.

    Returns
    -------
    float
        Area.
    """
    return facets / 2 * float(np.sin(2 * np.pi / facets))


def area_of(outline: Array) -> float:
    """Area within an outline.

    Parameters
    ----------
    outline
        Corners, mm.

    Returns
    -------
    float
        Area, mm2.
    """
    return float(shapely.Polygon(outline).area)


@dataclass
class Kit:
    """Random sizes and the body they shape.

    Parameters
    ----------
    rng
        Source of the sizes.
    noise_mm
        Noise of the file to come; facets stay coarse enough to stand out of it.
    body
        What is made.
    """

    rng: np.random.Generator
    noise_mm: float
    body: Body = field(default_factory=Body)

    def size(self, low: float, high: float) -> float:
        """A length on a grid of a micrometre.

        Parameters
        ----------
        low, high
            Bounds, mm.

        Returns
        -------
        float
            Length, mm.
        """
        return round(float(self.rng.uniform(low, high)), 3)

    def chance(self, share_of: float) -> bool:
        """Whether something happens.

        Parameters
        ----------
        share_of
            How often.

        Returns
        -------
        bool
            True that often.
        """
        return bool(self.rng.random() < share_of)

    def facets(self, radius: float) -> int:
        """Facets for a circle: 12 to 512, with a sagitta of over four times the noise.

        Parameters
        ----------
        radius
            Corner radius, mm.

        Returns
        -------
        int
            Even number of facets.
        """
        fit = [n for n in FACETS if radius * (1 - np.cos(np.pi / n)) > 4 * self.noise_mm]
        return int(self.rng.choice(fit))

    def phase(self) -> float:
        """Angle of a first corner: 0 half of the time, else any.

        Returns
        -------
        float
            Angle, radians.
        """
        return 0.0 if self.chance(0.5) else float(self.rng.uniform(0, 1))

    def less(self, volume: float | None) -> None:
        """Take from the volume by formula.

        Parameters
        ----------
        volume
            What is cut, mm3; ``None`` if no formula tells it.
        """
        if volume is None or self.body.volume_mm3 is None:
            self.body.volume_mm3 = None
        else:
            self.body.volume_mm3 -= volume

    def plate(self, x: float, y: float, z: float, style: str) -> None:
        """Plate from the origin to ``(x, y, z)``.

        Parameters
        ----------
        x, y, z
            Sizes, mm.
        style
            ``sharp``, ``round`` or ``bevel`` corners, ``top_round`` or ``top_bevel`` edges.
        """
        bend = self.size(1.0, 2.0) if style != "sharp" else 0.0
        steps = 1 if style.endswith("bevel") else int(self.rng.integers(4, 13))
        if style.startswith("top"):
            corners, radii = [(0.0, 0.0), (y, 0.0), (y, z), (0.0, z)], [0, 0, bend, bend]
            frame, long = ALONG_X, x
        else:
            corners, radii = [(0.0, 0.0), (x, 0.0), (x, y), (0.0, y)], [bend] * 4
            frame, long = UPRIGHT, z
        outline, edges = rounded(frame, corners, radii, steps)
        self.body.add(prism(frame, outline, edges, 0.0, long))
        self.body.volume_mm3 = area_of(outline) * long

    def bore(
        self,
        mouth: Sequence[float],
        out: Sequence[float],
        radius: float,
        depth: float,
        *,
        through: bool,
        bevel: float = 0.0,
        facets: int = 0,
    ) -> float:
        """Cut a bore.

        Parameters
        ----------
        mouth
            Where its axis leaves the metal, mm.
        out
            Direction out of the mouth.
        radius, depth
            Corner radius and depth, mm.
        through
            Whether it leaves the metal at its depth.
        bevel
            Width of a bevel of 45 degrees at the mouth, mm.
        facets
            Facets, chosen if 0.

        Returns
        -------
        float
            Volume cut from a flat plate, mm3.
        """
        count = facets or self.facets(radius)
        floor = -depth - (OVER_MM if through else 0.0)
        profile = [(floor, radius), (OVER_MM, radius)]
        if bevel:
            profile = [(floor, radius), (-bevel, radius), (OVER_MM, radius + bevel + OVER_MM)]
        self.body.cut(turned(frame_along(out, mouth), profile, count, self.phase()))
        wide = radius + bevel
        cone = bevel / 3 * (radius**2 + radius * wide + wide**2)
        return share(count) * (radius**2 * (depth - bevel) + cone)

    def slot(
        self,
        centre: Sequence[float],
        angle: float,
        half: float,
        radius: float,
        top: float,
        depth: float,
        through: bool,
    ) -> None:
        """Cut a slot with round ends down from a level.

        Parameters
        ----------
        centre
            Middle, X and Y, mm.
        angle
            Turn from X, radians.
        half, radius
            Half the distance of its end axes and the corner radius of the ends, mm.
        top, depth
            Level of its mouth and depth, mm.
        through
            Whether it leaves the metal at its depth.
        """
        outline, edges = slot_outline(UPRIGHT, centre, angle, half, radius, self.facets(radius))
        floor = top - depth - (OVER_MM if through else 0.0)
        self.body.cut(prism(UPRIGHT, outline, edges, floor, top + OVER_MM))
        self.less(area_of(outline) * depth)

    def pocket(self, low: Sequence[float], high: Sequence[float], top: float, depth: float) -> None:
        """Cut a pocket with rounded corners down from a level.

        Parameters
        ----------
        low, high
            Opposite corners, X and Y, mm.
        top, depth
            Level of its mouth and depth, mm.
        """
        corners = [(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])]
        bend = 0.0 if self.chance(0.3) else self.size(0.8, 1.4)
        outline, edges = rounded(UPRIGHT, corners, [bend] * 4, int(self.rng.integers(3, 9)))
        self.body.cut(prism(UPRIGHT, outline, edges, top - depth, top + OVER_MM))
        self.less(area_of(outline) * depth)

    def boss(self, centre: Sequence[float], radius: float, base: float, height: float) -> None:
        """Add a boss on a level, with a fillet or bevel at foot or top now and then.

        Parameters
        ----------
        centre
            Its axis, X and Y, mm.
        radius, height
            Corner radius and height over the level, mm.
        base
            The level, mm.
        """
        count = self.facets(radius)
        rings: list[tuple[float, float]] = [(base - 1.0, radius)]
        foot = self.size(0.6, 1.2) if self.chance(0.4) else 0.0
        if foot:
            steps = int(self.rng.integers(1, 6))
            angles = np.pi / 2 * np.arange(steps + 1) / steps
            arc = [(base + foot * (1 - np.cos(a)), radius + foot * (1 - np.sin(a))) for a in angles]
            slope = (arc[1][1] - arc[0][1]) / (arc[1][0] - arc[0][0])
            rings = [(base - 0.2, arc[0][1] - 0.2 * slope), *arc[1:-1], (base + foot, radius)]
        bevel = self.size(0.3, 0.8) if self.chance(0.4) else 0.0
        top = base + height
        rings += [(top - bevel, radius), (top, radius - bevel)] if bevel else [(top, radius)]
        self.body.add(turned(frame_along((0, 0, 1), (*centre, 0.0)), rings, count, self.phase()))
        self.less(
            None
            if foot
            else -share(count)
            * (
                radius**2 * (height - bevel)
                + bevel / 3 * (radius**2 + radius * (radius - bevel) + (radius - bevel) ** 2)
            )
        )

    def cut_along_y(
        self,
        corners: Sequence[tuple[float, float]],
        radii: Sequence[float],
        steps: int,
        low: float,
        high: float,
    ) -> float:
        """Cut a prism along Y.

        Parameters
        ----------
        corners
            Convex counter-clockwise corners, Z and X, mm.
        radii
            Radius at each, mm.
        steps
            Facets of a right-angled corner.
        low, high
            Where it starts and ends, mm.

        Returns
        -------
        float
            Area of its outline, mm2.
        """
        outline, edges = rounded(ALONG_Y, corners, radii, steps)
        self.body.cut(prism(ALONG_Y, outline, edges, low, high))
        return area_of(outline)

    def arch(self, half: float, foot: float, centre: float, low: float, high: float) -> float:
        """Add an upright body along Y with a half-round top.

        Parameters
        ----------
        half
            Half its width and the corner radius of its top, mm.
        foot, centre
            Level of its foot and of the axis of its top, mm.
        low, high
            Where it starts and ends along Y, mm.

        Returns
        -------
        float
            Area of its outline, mm2.
        """
        outline, edges = slot_outline(ALONG_Y, (centre, 0.0), 0.0, 0.0, half, self.facets(half))
        keep = len(outline) // 2
        outline = np.vstack([[[foot, half], [foot, -half]], outline[:keep]])
        walls: list[Side] = [(PLANE, 0), (PLANE, 0), *edges[: keep - 1], (PLANE, 0)]
        self.body.add(loft(ALONG_Y, [low, high], [outline, outline], [walls]))
        return area_of(outline)
