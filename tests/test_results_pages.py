"""Pages of results are those of the parts that are there."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_estimate_was_compared_on_every_sample_part_and_held_its_error() -> None:
    page = (ROOT / "docs" / "results-sag-estimate.md").read_text(encoding="utf-8")
    lines = [line.strip("| ").split(" | ") for line in page.splitlines() if line.startswith("| ")]
    heads, _, *parts = lines
    samples = {path.stem for path in (ROOT / "sample_models").glob("*.stl")}
    assert {cells[0] for cells in parts} == samples
    within = heads.index("within")
    assert {cells[within] for cells in parts} == {"yes"}
