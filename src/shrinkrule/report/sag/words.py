"""Sag in words: without allowance, what the allowance leaves, and how sure either is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from shrinkrule.calibration import Interval
from shrinkrule.report.words import sure_decimals, with_interval
from shrinkrule.units import plain

if TYPE_CHECKING:
    from shrinkrule.sag import PrecurveResult, SagEstimate, SagResult

MANY_TIMES: Final = 10.0
"""A sag that may be larger by this factor is known by its order at best; its limit is not named."""

SIDEWAYS_TOO: Final = 1.1
"""A movement that is this many times the drop goes sideways too, and is told with its direction."""


def sag_reach(before: SagResult) -> float:
    """How far the sag may be off, mm: its decimals are chosen by that."""
    interval = before.interval95_mm
    return before.numerical_mm if interval is None else before.largest_sag_mm - interval[0]


def _interval_text(before: SagResult, decimals: int) -> str:
    """Least and largest sag, or that they are not known."""
    if before.slumps:
        return "not known: it slumps"
    if before.comes_down:
        return "as far as it can, down onto the plate"
    interval = before.interval95_mm
    if interval is None:
        return "how far firings differ is not known"
    low, high = interval
    told = f"{high:.{decimals}f}" if high < MANY_TIMES * before.largest_sag_mm else "many times it"
    return f"{low:.{decimals}f} to {told}, 95 %"


def estimate_text(estimate: SagEstimate) -> str:
    """The quick estimate in one line.

    Parameters
    ----------
    estimate : SagEstimate
        The estimate.

    Returns
    -------
    str
        One line, lengths in mm.
    """
    x, y, z = estimate.at_mm
    half = estimate.half95_mm
    told = with_interval(Interval(estimate.sag_mm, half), sure_decimals(half), "mm")
    return f"about {told} (quick estimate, 95 %) at {x:z.1f}, {y:z.1f}, {z:z.1f} of the model"


def sag_text(sag: PrecurveResult) -> str:
    """What the part does in the furnace, and what the allowance leaves, in one line.

    Parameters
    ----------
    sag : PrecurveResult
        Sag before and after the allowance.

    Returns
    -------
    str
        One line, lengths in mm.
    """
    from shrinkrule.sag import Saving

    before = sag.before
    x, y, z = before.largest_at
    decimals = sure_decimals(sag_reach(before))
    where = f"at {x:z.1f}, {y:z.1f}, {z:z.1f} of the model"
    text = (
        f"sags by {before.largest_sag_mm:.{decimals}f} mm ({_interval_text(before, decimals)}) "
        f"{where}{_movement_text(sag, decimals)}"
    )
    if before.slumps:
        text = (
            f"slumps: over {plain(before.largest_sag_mm)} mm {where}, and how far the model "
            "cannot say"
        )
    if sag.verdict is Saving.NOT_NEEDED:
        return f"{text}: too little to take off"
    if sag.verdict is Saving.HOPELESS:
        return f"{text}: no allowance will save it"
    left = float(np.hypot(sag.remaining_mm, before.numerical_mm))
    if not np.isfinite(left):
        left = sag.remaining_mm
    return (
        f"{text}; pre-curved, {_left(left, before)} mm is left of it by shape and bricks, and what "
        f"the sag modulus is unsure of ({_by_modulus(before)})"
    )


def _movement_text(sag: PrecurveResult, decimals: int) -> str:
    """Largest movement and its direction, where it is more than the drop alone."""
    moves = np.linalg.norm(sag.before.displacement, axis=1)
    most = int(moves.argmax())
    if moves[most] < SIDEWAYS_TOO * sag.before.largest_sag_mm:
        return ""
    x, y, z = np.asarray(sag.wanted.vertices)[most]
    along = ", ".join(
        f"{step:+z.{decimals}f} along {axis}"
        for axis, step in zip("XYZ", sag.before.displacement[most], strict=True)
    )
    return (
        f", and moves most, by {moves[most]:.{decimals}f} mm, at {x:z.1f}, {y:z.1f}, {z:z.1f}: "
        f"{along}"
    )


def _by_modulus(before: SagResult) -> str:
    """What the modulus leaves unsure of the largest sag, mm."""
    if before.slumps:
        return "not known: it slumps"
    factor = before.modulus_factor
    if factor is None:
        return "not known after one firing"
    less, sag = before.largest_sag_mm * (1.0 / factor - 1.0), before.largest_sag_mm
    more = before.largest_sag_mm * (factor - 1.0)
    decimals = sure_decimals(more)
    told = f"{more:+.{decimals}f} mm" if more < MANY_TIMES * sag else "many times it"
    return f"{less:+.{decimals}f} to {told}"


def _half(half95: float) -> str:
    """A half width, rounded as it rounds its value."""
    return f"{half95:.{sure_decimals(half95)}f}" if np.isfinite(half95) else "not known"


def _unsure(half95: float, before: SagResult) -> str:
    """A half width with its unit; a slump has none, for the model does not follow it."""
    return "not known: it slumps" if before.slumps else f"± {_half(half95)} mm"


def _left(error_mm: float, before: SagResult) -> str:
    """What is left of the sag, which is known no better than the bricks resolve it."""
    decimals = sure_decimals(before.numerical_mm)
    finest = 10.0**-decimals
    if error_mm < 0.5 * finest:
        return f"under {finest:.{decimals}f}"
    return f"{error_mm:.{decimals}f}"


def _percent(before: SagResult) -> str:
    """Expected error of the bending of the thinnest wall, in percent."""
    return f"{100.0 * before.expected_error:.{1 if before.expected_error < 0.01 else 0}f}"


def sag_figures(sag: PrecurveResult) -> list[tuple[str, str]]:
    """Figures of the sag for a table.

    Parameters
    ----------
    sag : PrecurveResult
        Sag before and after the allowance.

    Returns
    -------
    list of (str, str)
        Name and figure of each row.
    """
    before = sag.before
    rounds = ", ".join(_left(error, before) for error in sag.errors_mm) if sag.rounds else "none"
    decimals = sure_decimals(sag_reach(before))
    settled = "converged" if before.settled else "DID NOT converge"
    return [
        ("predicted sag, no allowance", f"{before.largest_sag_mm:.{decimals}f} mm"),
        ("its interval", _interval_text(before, decimals)),
        ("unsure by the sag modulus (95 %)", _by_modulus(before)),
        ("unsure by the bricks (95 %)", _unsure(before.numerical_mm, before)),
        ("left after pre-curving, round by round", f"{rounds} mm" if sag.rounds else rounds),
        ("largest lift off the setter", f"{before.largest_lift_mm:.{decimals}f} mm"),
        (
            "bricks through the thinnest wall",
            f"{before.bricks_through:.1f}, so its bending is known to {_percent(before)} %",
        ),
        ("bricks, unknowns", f"{before.bricks:,}, {before.unknowns:,}"),
        ("solve", f"{settled} in {before.contact_rounds} contact rounds"),
    ]
