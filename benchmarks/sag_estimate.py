"""The quick estimate of the sag beside the full solve, on every sample part.

Run ``python benchmarks/sag_estimate.py``; ``--write`` puts the table into
``docs/results-sag-estimate.md``. Both solve the same part, printed and fired with z up, in the
demo batch; the full solve is that of ``--sag`` without its allowance. Times are processor time of
this process alone, with one thread, and without the first call, which compiles.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final, TypeVar

from shrinkrule.calibration import demo_table, find_row
from shrinkrule.errors import ShrinkruleError
from shrinkrule.mesh import read_part
from shrinkrule.report.words import sure_decimals
from shrinkrule.sag import SagSettings, estimate_sag, sag_material, solve_sag
from shrinkrule.units import plain

ROOT: Final = Path(__file__).parents[1]
PAGE: Final = ROOT / "docs" / "results-sag-estimate.md"
ROW: Final = "bronze demo batch 90"
UNITS: Final = {"bracket_inches.stl": "in"}
COLUMNS: Final = (
    "part",
    "estimate, mm",
    "its bricks' error, mm",
    "full solve, mm",
    "its bricks' error, mm",
    "off, mm",
    "off, share",
    "within",
    "estimate, s",
    "full, s",
)
HEAD: Final = f"""# The quick estimate of the sag beside the full solve

Made by `benchmarks/sag_estimate.py`: every sample part with z up, row "{ROW}" of the
demo table. The error of the bricks is that of 95 %; the sag modulus, which is unsure by more, is
the same for both. "Off" is the estimate less the full solve, "within" whether that is less than
both errors together. Seconds are processor time.

| {" | ".join(COLUMNS)} |
| {" | ".join("---" for _ in COLUMNS)} |
"""

Result = TypeVar("Result")


def timed(call: Callable[[], Result]) -> tuple[Result, float]:
    """Result of a call and its processor time, s."""
    start = time.process_time()
    result = call()
    return result, time.process_time() - start


def line(path: Path) -> str:
    """One line of the table."""
    part = read_part(path, UNITS.get(path.name))
    material = sag_material(find_row(demo_table(), ROW, "the demo table"))
    settings = SagSettings()
    try:
        quick, quick_s = timed(lambda: estimate_sag(part.mesh, material, settings))
        full, full_s = timed(lambda: solve_sag(part.mesh, material, settings))
    except ShrinkruleError as refusal:
        return f"| {path.stem} | {refusal.what} | | | | | | | | |"
    off = quick.sag_mm - full.largest_sag_mm
    allowed = quick.numerical_mm + full.numerical_mm
    decimals = sure_decimals(full.numerical_mm)
    cells = [
        path.stem,
        f"{quick.sag_mm:.{decimals}f}",
        plain(quick.numerical_mm),
        f"{full.largest_sag_mm:.{decimals}f}",
        plain(full.numerical_mm),
        f"{off:+.{decimals}f}",
        f"{100.0 * off / full.largest_sag_mm:+.0f} %",
        "yes" if abs(off) <= allowed else "NO",
        f"{quick_s:.1f}",
        f"{full_s:.1f}",
    ]
    return f"| {' | '.join(cells)} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    asked = parser.parse_args()
    paths = sorted((ROOT / "sample_models").glob("*.stl"))
    line(paths[0])  # compiles
    lines = []
    for path in paths:
        lines.append(line(path))
        print(lines[-1], flush=True)
    if asked.write:
        PAGE.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
