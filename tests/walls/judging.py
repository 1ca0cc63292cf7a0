"""What the wall check found on a part, compared with what was planted."""

from __future__ import annotations

import numpy as np

from shrinkrule.walls import Finding, Rule, check_walls
from walls.planted import LIMITS, THIN, Part

SHARE = 0.005
"""Half a percent, or ..."""

LEAST_MM = 0.002
"""... 2 micrometres, whichever is larger, is how far a reported wall may be off."""


def _meets(finding: Finding, low: np.ndarray, high: np.ndarray) -> bool:
    return bool((finding.box[0] <= high).all() and (finding.box[1] >= low).all())


def _text(finding: Finding) -> str:
    low, high = np.round(finding.box, 2).tolist()
    return (
        f"{finding.kind.value} {finding.smallest_mm:.5f} by {finding.rule.value} "
        f"{finding.area_mm2:.3g} mm2 {low}-{high}"
    )


def faults(part: Part) -> list[str]:
    """Sentences about what is missed or invented; none when all is right."""
    report = check_walls(part.mesh, part.printer, LIMITS)
    thin = [f for f in report.findings if f.kind in THIN]
    said = "; ".join(_text(f) for f in thin) or "nothing"
    if not part.kinds:
        return [f"INVENTED in {part}: {said}"] if thin else []
    wrong = []
    right = [f for f in thin if f.kind in part.kinds and _meets(f, *part.box)]
    off = max(SHARE * part.least, LEAST_MM)
    if part.least == 0.0:
        # At the very edge of a knife there is no wall at all; a tip holds hardly a sample.
        off = (1.0 if part.family == "spike" else 0.1) * LIMITS.exist_mm(part.printer)
        # Beside a tip that lies flat the layers see single beads.
        if len([f for f in thin if f.rule is not Rule.LAYERS]) > 1:
            wrong.append(f"PIECEMEAL in {part}: {said}")
    if not right:
        wrong.append(f"MISSED in {part} at {np.round(part.box, 2).tolist()}: {said}")
    elif all(abs(f.smallest_mm - part.least) > off for f in right):
        wrong.append(f"OFF in {part}: {said}")
    astray = [f for f in thin if not _inside(f, *part.reach)]
    if astray:
        text = "; ".join(_text(f) for f in astray)
        wrong.append(f"ASTRAY in {part} beyond {np.round(part.reach, 2).tolist()}: {text}")
    return wrong


def _inside(finding: Finding, low: np.ndarray, high: np.ndarray) -> bool:
    return bool((finding.box[0] >= low).all() and (finding.box[1] <= high).all())
