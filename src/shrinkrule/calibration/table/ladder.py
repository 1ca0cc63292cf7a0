"""What a coupon's ladder of walls or floors showed this printer to make."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Ladder:
    """Steps of a ladder, of one or several coupons, that came out and that did not.

    Parameters
    ----------
    thinnest_mm : float or None
        Thinnest step that came out on every coupon, with every thicker one; nominal, green mm.
    missing_mm : float or None
        Thickest step that did not come out on one coupon at least; None where all did.
    coupons : int
        Coupons on which the thinnest step came out.
    """

    thinnest_mm: float | None
    missing_mm: float | None
    coupons: int

    def with_other(self, other: Ladder) -> Ladder:
        """Ladder of both rows: what came out on both, and no surer than the less sure one."""
        if self.thinnest_mm is None or other.thinnest_mm is None:
            thinnest = None
        else:
            thinnest = max(self.thinnest_mm, other.thinnest_mm)
        missing = [mm for mm in (self.missing_mm, other.missing_mm) if mm is not None]
        return Ladder(thinnest, max(missing, default=None), min(self.coupons, other.coupons))
