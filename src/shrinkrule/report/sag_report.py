"""Sag in words, values and pictures: without allowance, and what the allowance leaves."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from trimesh import Trimesh
from trimesh.triangles import points_to_barycentric

from shrinkrule.calibration import CalibrationRow, Interval
from shrinkrule.compensation import turn_up
from shrinkrule.mesh import Part
from shrinkrule.report.pictures.scene import GREY, VIEWS, Camera, Colouring, Stage, draw
from shrinkrule.report.pictures.walls import (
    HEIGHT,
    WIDTH,
    Picture,
    Swatch,
    css,
    data_uri,
    scale_bar,
)
from shrinkrule.report.words import sure_decimals, with_interval
from shrinkrule.units import plain
from shrinkrule.walls import sample_surface

if TYPE_CHECKING:
    from shrinkrule.job import SagLook, WayLook
    from shrinkrule.sag import PrecurveResult, SagEstimate, SagResult, SagSettings, WayUp

MANY_TIMES: Final = 10.0
"""A sag that may be larger by this factor is known by its order at best; its limit is not named."""

SIDEWAYS_TOO: Final = 1.1
"""A movement that is this many times the drop goes sideways too, and is told with its direction."""

STEPS: Final = 6
"""Colours of a sag map, from nothing to the largest sag."""

_SAMPLES: Final = 40_000
_SIDES: Final = ("from the front right, above", "from the front left, below")
# One hue growing darker: also in grey print more sag is darker.
_PALE, _DARK = np.array([0.93, 0.95, 0.90]), np.array([0.45, 0.08, 0.20])


def sag_dict(sag: PrecurveResult, settings: SagSettings) -> dict[str, Any]:
    """Sag and its allowance as JSON values. Lengths mm, in the model's axes.

    Parameters
    ----------
    sag : PrecurveResult
        Sag before and after the allowance.
    settings : SagSettings
        How the part was held.

    Returns
    -------
    dict of str to any
        As in docs/file-formats.md.
    """
    before = sag.before
    return {
        "verdict": sag.verdict.value,
        "advice": list(sag.advice),
        "warnings": list(before.warnings),
        "furnace_up": list(settings.furnace_up),
        "friction": settings.friction.value,
        "base": settings.base.value,
        "supports": len(settings.supports),
        "largest_sag_mm": before.largest_sag_mm,
        "largest_at_mm": before.largest_at.tolist(),
        "sag_u_from_modulus_mm": before.modulus_mm,
        "sag_interval95_mm": None
        if before.interval95_mm is None or not np.all(np.isfinite(before.interval95_mm))
        else list(before.interval95_mm),
        "sag_u95_from_bricks_mm": before.numerical_mm,
        "remaining_mm": sag.remaining_mm,
        "remaining_by_round_mm": list(sag.errors_mm),
        "rounds": sag.rounds,
        "lifted_mm": before.largest_lift_mm,
        "fallen_mm": before.drop_to_plate_mm,
        "gap_below": None
        if before.self_contact is None
        else {
            "height_mm": before.self_contact.gap_mm,
            "closes_mm": before.self_contact.closes_mm,
            "at_mm": before.self_contact.at.tolist(),
        },
        "bricks": before.bricks,
        "bricks_through_wall": before.bricks_through,
        "expected_wall_error_share": before.expected_error,
        "unknowns": before.unknowns,
        "iterations": before.iterations,
        "iteration_error": before.error,
        "settled": before.settled,
    }


def sag_reach(before: SagResult) -> float:
    """How far the sag may be off, mm: its decimals are chosen by that."""
    interval = before.interval95_mm
    return before.numerical_mm if interval is None else before.largest_sag_mm - interval[0]


def _interval_text(before: SagResult, decimals: int) -> str:
    """Least and largest sag, or that they are not known."""
    if before.slumps:
        return "not known: it slumps"
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


def estimate_dict(look: SagLook) -> dict[str, Any] | None:
    """The quick estimate as JSON values; None where sag was taken off or is not known.

    Parameters
    ----------
    look : SagLook
        What is known of the sag.

    Returns
    -------
    dict or None
        As in docs/file-formats.md.
    """
    estimate = look.estimate
    if estimate is None:
        return None
    return {
        "sag_mm": estimate.sag_mm,
        "at_mm": estimate.at_mm.tolist(),
        "half95_mm": estimate.half95_mm,
        "u95_from_bricks_mm": estimate.numerical_mm,
        "u_from_modulus_mm": estimate.modulus_mm,
        "matters_over_mm": look.limit_mm,
        "rolls": estimate.rolls,
        "settled": estimate.settled,
        "unknowns": estimate.unknowns,
        "ways": [way_dict(way) for way in look.ways],
    }


def way_dict(way: WayUp) -> dict[str, Any]:
    """One way up as JSON values."""
    return {
        "up": way.name,
        "stands": way.stands,
        "reason": way.reason,
        "sag_mm": way.sag_mm if way.stands else None,
        "sag_at_mm": way.sag_at.tolist() if way.stands else None,
        "sideways_mm": way.sideways_mm if way.stands else None,
        "height_mm": way.height_mm,
        "footprint_mm2": way.footprint_mm2,
    }


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
    if before.slumps:
        return f"{text}; pre-curved, the model leaves {_left(sag.remaining_mm, before)} mm of it"
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
    """What the modulus leaves unsure, in percent of the sag."""
    if before.slumps:
        return "not known: it slumps"
    factor = before.modulus_factor
    if factor is None:
        return "not known after one firing"
    more = f"{100.0 * (factor - 1.0):+.0f} %" if factor < MANY_TIMES else "many times it"
    return f"{100.0 * (1.0 / factor - 1.0):+.0f} to {more} of the sag"


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


def sag_pictures(
    sag: PrecurveResult, furnace_up: tuple[float, float, float]
) -> tuple[tuple[Picture, ...], tuple[Swatch, ...]]:
    """Maps of the sag without allowance and of what is left with it, and their one legend.

    Parameters
    ----------
    sag : PrecurveResult
        Sag before and after the allowance.
    furnace_up : tuple of 3 float
        Unit vector in the model that points up in the furnace.

    Returns
    -------
    tuple of Picture, tuple of Swatch
        Maps in one scale of colours, and what the colours mean in mm.
    """
    turn = turn_up(np.asarray(furnace_up))
    samples = sample_surface(sag.wanted, float(np.sqrt(sag.wanted.area / _SAMPLES)))
    corners = np.asarray(sag.wanted.triangles)[samples.facets]
    share = points_to_barycentric(corners, samples.points)
    facets = sag.wanted.faces[samples.facets]
    left = np.einsum("nc,ncd->nd", share, sag.remaining[facets])
    self_contact = np.einsum("nc,ncd->nd", share, sag.before.displacement[facets])
    without = np.linalg.norm(self_contact, axis=1)
    bounds = np.linspace(0.0, max(float(without.max()), 1e-6), STEPS + 1)[1:-1]
    colours = _PALE + np.linspace(0.0, 1.0, STEPS)[:, None] * (_DARK - _PALE)
    turned = Trimesh(sag.wanted.vertices @ turn.T, sag.wanted.faces, process=False)
    stage = Stage(turned)
    normals = np.asarray(turned.face_normals)[samples.facets]
    pictures = []
    maps = [("without allowance", without)]
    if sag.rounds:
        maps.append(("with it", np.linalg.norm(left, axis=1)))
    for title, values in maps:
        reach = 2.0 * float(np.sqrt(sag.wanted.area / _SAMPLES))
        colouring = Colouring(samples.points @ turn.T, normals, reach, values, bounds, colours)
        for side in _SIDES:
            camera = Camera.looking_at(stage.points, VIEWS[side], WIDTH, HEIGHT)
            drawing = draw(stage, camera, colouring)
            scale_bar(drawing.image, drawing.camera)
            pictures.append(Picture(data_uri(drawing.image), f"{title}, seen {side}"))
    edges = [0.0, *bounds]
    # As many decimals as are sure, but enough to distinguish one colour from the next.
    distinct = -int(np.floor(np.log10(bounds[0])))
    decimals = max(sure_decimals(sag_reach(sag.before)), distinct, 0)
    names = [
        f"{low:.{decimals}f} to {high:.{decimals}f} mm" for low, high in itertools.pairwise(edges)
    ]
    names.append(f"over {edges[-1]:.{decimals}f} mm")
    swatches = [Swatch(css(colour), name) for colour, name in zip(colours, names, strict=True)]
    return tuple(pictures), (*swatches, Swatch(css(GREY), "not known"))


def ways_up_dict(
    part: Part, row: CalibrationRow, source: str, ways: tuple[WayLook, ...]
) -> dict[str, Any]:
    """Ranked ways up as JSON values.

    Parameters
    ----------
    part : Part
        As it was read.
    row : CalibrationRow
        Row whose sag modulus was used.
    source : str
        Where the row came from.
    ways : tuple of WayLook
        The best first.

    Returns
    -------
    dict
        JSON values by name.
    """
    return {
        "schema": "shrinkrule.ways_up",
        "version": 1,
        "model": Path(part.source).name,
        "row": row.name,
        "row_source": source,
        "ways": [
            {
                **way_dict(look.way),
                "unheld_print_mm2": look.unheld_mm2,
                "starts_in_air": look.starts,
                "fits_furnace": None if look.fit is None else look.fit.fits,
                "spare_mm": None if look.fit is None else look.fit.spare_mm,
            }
            for look in ways
        ],
    }
