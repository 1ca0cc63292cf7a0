"""The main jobs on a few small parts give the numbers and words that were approved.

A change that is meant is approved by `python tests/approved/approve.py [JOB...]`, and then shows
in the diff of `tests/approved/results/`. Tolerances: what a solver's iteration and another
machine's rounding leave open; words and counts hold exactly.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from approved.flatten import differences, flat, read_flat
from approved.jobs import JOBS

RESULTS = Path(__file__).parent / "results"


@pytest.mark.parametrize("job", sorted(JOBS))
def test_results_are_those_that_were_approved(
    job: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    found = differences(flat(JOBS[job]()), read_flat(RESULTS / f"{job}.json"))
    assert not found, "\n".join([f"{len(found)} differ", *found[:25]])


def test_every_approved_result_has_its_job() -> None:
    assert {path.stem for path in RESULTS.glob("*.json")} == set(JOBS)
