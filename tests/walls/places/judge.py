"""What is wrong with a report about a part whose thin places are known."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from .part import (
    KNIFE_EDGE,
    SINGLE_BEAD,
    SINGLE_BEAD_PIN,
    THIN_FLOOR,
    THIN_KINDS,
    THIN_PIN,
    THIN_WALL,
    WEIGHT_OF_KIND,
    Expected,
    FloatArray,
    PlacedPart,
)

#: A told loss may be off by this share, or by this length where that is more.
LOSS_SHARE, LOSS_MM = 0.05, 0.02
#: A told limit may be off by this share.
LIMIT_SHARE = 0.01
#: Which weight is the graver one.
_GRAVITY = {"tells": 0, "look": 1, "stop": 2}

Finding = Mapping[str, Any]


def faults(part: PlacedPart, findings: Sequence[Finding]) -> list[str]:
    """Hold a report's findings against the truth.

    Parameters
    ----------
    part
        The part, with its thin places.
    findings
        Each with ``kind``, ``smallest_mm``, ``limit_mm``, ``weighs`` (``"stop"``, ``"look"`` or
        ``"tells"``), ``loss_mm`` (or None), ``area_mm2``, ``position_mm`` and ``box_mm`` (two
        corners), in the frame of the part's mesh.

    Returns
    -------
    list of str
        One sentence for each fault; the first word says which sort it is.
    """
    told: list[str] = []
    for place in part.expected:
        told += _place_faults(part, place, findings)
    told += _untold(part, findings)
    told += _piecemeal(part, findings)
    told += _stray(part, findings)
    told += _own_faults(part, findings)
    return told


def _place_faults(part: PlacedPart, place: Expected, findings: Sequence[Finding]) -> list[str]:
    near = [finding for finding in findings if _meets(finding, place, part.bead_mm)]
    right = [finding for finding in near if finding["kind"] in place.kinds]
    name = f"{_names(place.kinds)} of {place.least_mm:.3f} at {_point(place.at[0])}"
    if not right:
        others = [finding for finding in near if finding["kind"] in THIN_KINDS]
        if others:
            return [f"MISNAMED: {name} is told as {_names({f['kind'] for f in others})}"]
        return [f"MISSED: {name}"]
    told: list[str] = []
    heaviest = max(_GRAVITY.get(str(finding["weighs"]), 0) for finding in right)
    if heaviest < _GRAVITY[place.weighs]:
        told.append(f"MISNAMED: {name} weighs less than {place.weighs!r}")
    # Of several places near by, the one whose value fits best speaks for this one.
    if math.isfinite(place.tolerance_mm):
        best = min(
            (_number(f["smallest_mm"]) for f in right), key=lambda v: abs(v - place.least_mm)
        )
        if not abs(best - place.least_mm) <= place.tolerance_mm:
            told.append(
                f"OFF: {name} is told as {best:.3f}, by {100 * (best / place.least_mm - 1):+.2f} % "
                f"(allowed {place.tolerance_mm:.4f} mm)"
            )
    if place.loss_mm is not None:
        losses = [_number(f["loss_mm"]) for f in right if f["kind"] == KNIFE_EDGE]
        allowed = max(LOSS_SHARE * place.loss_mm, LOSS_MM)
        if losses and not min(abs(loss - place.loss_mm) for loss in losses) <= allowed:
            told.append(
                f"OFF: {name} loses {place.loss_mm:.3f}, told "
                f"{', '.join(f'{loss:.3f}' for loss in losses)}"
            )
    if place.min_area_mm2 is not None:
        area = sum(_number(finding["area_mm2"]) for finding in right)
        if not area >= place.min_area_mm2:
            told.append(f"PARTIAL: {name} has over {place.min_area_mm2:.1f} mm2, told {area:.1f}")
    return told


def _untold(part: PlacedPart, findings: Sequence[Finding]) -> list[str]:
    """Count places that no finding is left for: one finding speaks for one place."""
    if not part.expected or not findings:
        return []
    fits = np.array(
        [
            [f["kind"] in place.kinds and _meets(f, place, part.bead_mm) for f in findings]
            for place in part.expected
        ]
    )
    matched = maximum_bipartite_matching(csr_array(fits.astype(np.int64)), perm_type="column")
    near_one = [bool(row.any()) for row in fits]
    return [
        f"MISSED: {_names(place.kinds)} of {place.least_mm:.3f} at {_point(place.at[0])}, "
        "what is near it speaks for others"
        for place, column, near in zip(part.expected, matched, near_one, strict=True)
        if near and column < 0
    ]


def _piecemeal(part: PlacedPart, findings: Sequence[Finding]) -> list[str]:
    """Count places of kinds that belong together; kinds that are allowed besides do not count."""
    told: list[str] = []
    for kinds, count in _families(part.expected):
        counted = kinds - part.allowed
        number = sum(finding["kind"] in counted for finding in findings)
        if number > count:
            told.append(
                f"PIECEMEAL: {number} places of {_names(kinds)} are told, there are {count}"
            )
    return told


def _families(places: Iterable[Expected]) -> list[tuple[frozenset[str], int]]:
    """Join places that share a name, and count them."""
    groups: list[tuple[frozenset[str], int]] = []
    for place in places:
        kinds, count = place.kinds, place.count
        apart = [group for group in groups if not group[0] & kinds]
        for group in groups:
            if group[0] & place.kinds:
                kinds, count = kinds | group[0], count + group[1]
        groups = [*apart, (kinds, count)]
    return groups


def _stray(part: PlacedPart, findings: Sequence[Finding]) -> list[str]:
    expected = frozenset(kind for place in part.expected for kind in place.kinds)
    told: list[str] = []
    for finding in findings:
        kind = finding["kind"]
        if kind not in THIN_KINDS or kind in part.allowed:
            continue
        name = (
            f"{kind} of {_number(finding['smallest_mm']):.3f}, "
            f"{_number(finding['area_mm2']):.2f} mm2 at {_point(finding['position_mm'])}"
        )
        if kind not in expected:
            told.append(f"INVENTED: {name}")
        elif not any(
            kind in place.kinds and _meets(finding, place, part.bead_mm) for place in part.expected
        ):
            told.append(f"ASTRAY: {name}, no such place is there")
    return told


def _own_faults(part: PlacedPart, findings: Sequence[Finding]) -> list[str]:
    """Faults that a finding has by itself: weight, limit, and a position off its box."""
    limits = {
        THIN_WALL: part.bead_mm,
        THIN_PIN: part.bead_mm,
        SINGLE_BEAD: 2 * part.bead_mm,
        SINGLE_BEAD_PIN: 2 * part.bead_mm,
        THIN_FLOOR: 3 * part.layer_mm,
    }
    told: list[str] = []
    for finding in findings:
        kind = finding["kind"]
        weight = WEIGHT_OF_KIND.get(kind)
        if weight is not None and finding["weighs"] != weight:
            told.append(f"MISNAMED: a {kind} weighs {finding['weighs']!r}, not {weight!r}")
        limit = limits.get(kind)
        if limit is not None:
            if abs(_number(finding["limit_mm"]) - limit) > LIMIT_SHARE * limit:
                told.append(
                    f"OFF: the limit of a {kind} is {limit:.3f}, told {finding['limit_mm']}"
                )
            if _number(finding["smallest_mm"]) > limit * (1 + LIMIT_SHARE):
                told.append(f"OFF: a {kind} of {finding['smallest_mm']} is over {limit:.3f}")
        if kind in THIN_KINDS and not _holds(finding, part.bead_mm):
            told.append(f"ASTRAY: a {kind}'s place {_point(finding['position_mm'])} is off its box")
    return told


def _meets(finding: Finding, place: Expected, margin: float) -> bool:
    low, high = _box(finding)
    return bool(((place.at >= low - margin) & (place.at <= high + margin)).all(axis=1).any())


def _holds(finding: Finding, margin: float) -> bool:
    low, high = _box(finding)
    at = np.asarray(finding["position_mm"], dtype=np.float64)
    return bool(((at >= low - margin) & (at <= high + margin)).all())


def _box(finding: Finding) -> tuple[FloatArray, FloatArray]:
    corners = np.asarray(finding["box_mm"], dtype=np.float64).reshape(2, 3)
    return corners.min(axis=0), corners.max(axis=0)


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _names(kinds: Iterable[str]) -> str:
    return " or ".join(sorted(kinds))


def _point(at: Sequence[float] | FloatArray) -> str:
    return "(" + ", ".join(f"{float(value):.1f}" for value in at) + ")"
