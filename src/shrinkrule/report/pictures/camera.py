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
        cls, points: Floats, eye: tuple[float, float, float], width: int, height: int
    ) -> Camera:
        """Camera that shows all ``points`` ((n, 3)) with a margin."""
        back = np.asarray(eye, dtype=np.float64)
        back = back / np.linalg.norm(back)
        right = np.cross([0.0, 0.0, 1.0], back)
        if not right.any():
            right = np.array([1.0, 0.0, 0.0])  # from straight above
        right /= np.linalg.norm(right)
        up = np.cross(back, right)
        flat = np.column_stack([points @ right, points @ up])
        low, high = flat.min(axis=0), flat.max(axis=0)
        depth = float(np.mean([(points @ back).min(), (points @ back).max()]))
        middle = 0.5 * (low + high)
        centre = middle[0] * right + middle[1] * up + depth * back
        span = np.maximum(high - low, 1e-9)
        scale = float(max(span[0] / (0.86 * width), span[1] / (0.86 * height)))
        return cls(right, up, back, centre, scale, width, height)

    def shows_as(self, other: Camera) -> bool:
        """Whether another camera makes the same picture, to a thousandth of a pixel."""
        shift = float(np.abs(self.centre - other.centre).max())
        larger = abs(self.mm_per_pixel - other.mm_per_pixel) * (self.width + self.height)
        return (
            (self.width, self.height, self.cut) == (other.width, other.height, other.cut)
            and np.array_equal(self.back, other.back)
            and max(shift, larger) < 1e-3 * self.mm_per_pixel
        )

    def pixels(self, points: Floats) -> Floats:
        """Pixel positions (n, 2) of points (n, 3)."""
        offset = (points - self.centre) / self.mm_per_pixel
        return np.column_stack(
            [self.width / 2 + offset @ self.right, self.height / 2 - offset @ self.up]
        )
