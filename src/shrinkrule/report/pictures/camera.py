"""From where pictures are taken: parallel projections, and the sides a part is shown from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats

VIEWS: Final[dict[str, tuple[float, float, float]]] = {
    "from the front right, above": (0.55, -0.70, 0.46),
    "from the back left, above": (-0.60, 0.66, 0.46),
    "from the front left, below": (-0.55, -0.62, -0.56),
}
"""Where the eye stands, as directions from the part; no side stays unseen in all three."""


@dataclass(frozen=True)
class Camera:
    """Parallel projection.

    Parameters
    ----------
    right, up, back : (3,) float64
        Axes of the picture and the direction to the eye.
    centre : (3,) float64
        Point in the middle of the picture.
    mm_per_pixel : float
        Scale of the picture.
    width, height : int
        Of the picture in pixels.
    cut : bool
        Whether what lies before the centre is cut away: the eye looks onto the section there.
    """

    right: Floats
    up: Floats
    back: Floats
    centre: Floats
    mm_per_pixel: float
    width: int
    height: int
    cut: bool = False

    @classmethod
    def looking_at(
        cls,
        points: Floats,
        eye: tuple[float, float, float],
        width: int,
        height: int,
        turn: Floats | None = None,
    ) -> Camera:
        """Camera that shows all ``points`` ((n, 3)) with a margin.

        With ``turn`` ((3, 3)) it shows them as they are turned, in the axes they have before.
        """
        back = np.asarray(eye, dtype=np.float64)
        back = back / np.linalg.norm(back)
        right = np.cross([0.0, 0.0, 1.0], back)
        if not right.any():
            right = np.array([1.0, 0.0, 0.0])  # from straight above
        right /= np.linalg.norm(right)
        up = np.cross(back, right)
        if turn is not None:
            right, up, back = (axis @ turn for axis in (right, up, back))
        low, high = np.array(
            [(along.min(), along.max()) for along in (points @ axis for axis in (right, up, back))]
        ).T
        middle = 0.5 * (low + high)
        centre = middle[0] * right + middle[1] * up + middle[2] * back
        span = np.maximum(high - low, 1e-9)
        scale = float(max(span[0] / (0.86 * width), span[1] / (0.86 * height)))
        return cls(right, up, back, centre, scale, width, height)

    def looks_from(self, eye: tuple[float, float, float]) -> bool:
        """Whether it looks at the whole part from that direction."""
        return not self.cut and np.allclose(self.back, np.array(eye) / np.linalg.norm(eye))

    def pixels(self, points: Floats) -> Floats:
        """Pixel positions (n, 2) of points (n, 3)."""
        shown = np.empty((len(points), 2))
        for k, (axis, size) in enumerate(((self.right, self.width), (-self.up, self.height))):
            shown[:, k] = points @ (axis / self.mm_per_pixel)
            shown[:, k] += size / 2 - (self.centre @ axis) / self.mm_per_pixel
        return shown
