"""Dimensions found on generated parts, against their truth by construction.

    python benchmarks/dimensions_found.py --fresh 400 --page docs/results-dimensions.md

Missed is what is planted and not listed within a micrometre or twice the file's noise; invented is
what is listed and no true distance of the mesh. The generator in `dimension_parts` was written
without sight of the code that finds them.
"""

from __future__ import annotations

import argparse
import tempfile
import textwrap
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from dimension_parts import Part, make_part, score
from dimensions_by_hand import page as by_hand
from dimensions_large import page as large

from shrinkrule.dimensions import Kind, find_dimensions
from shrinkrule.mesh import read_part

FRESH: Final = 3000
"""First seed of the fresh parts."""

KINDS: Final = {
    Kind.OVERALL: "outside",
    Kind.OUTSIDE: "outside",
    Kind.WALL: "wall",
    Kind.INSIDE: "inside",
    Kind.STEP: "step",
    Kind.DEPTH: "depth",
    Kind.BORE: "bore",
    Kind.BOSS: "boss",
    Kind.BALL: "boss",
    Kind.AXES: "axis_distance",
    Kind.TO_FACE: "axis_to_face",
    Kind.OVER_KEYWAY: "height",
}
"""The generator's word for each kind."""


@dataclass(frozen=True)
class Scored:
    """What came of one part: how many are planted, listed, missed and invented."""

    part: Part
    planted: int
    listed: int
    missed: tuple[Any, ...]
    invented: tuple[Any, ...]
    seconds: float


def scored(seed: int, folder: Path) -> Scored:
    """Make a part, write it, find its dimensions in the file and score them.

    Parameters
    ----------
    seed : int
        Which part.
    folder : Path
        Where its file is written.

    Returns
    -------
    Scored
        The counts.
    """
    part = make_part(seed)
    path = folder / f"part{seed}.stl"
    part.write(path)
    began = time.perf_counter()
    found = find_dimensions(read_part(path, "mm"))
    seconds = time.perf_counter() - began
    rows = [
        {"kind": KINDS[d.kind], "value_mm": d.size_mm, "direction": d.direction}
        for d in found.every
    ]
    missed, invented = score(part, rows)
    return Scored(part, len(part.dimensions), len(rows), tuple(missed), tuple(invented), seconds)


def page(results: list[Scored]) -> Iterator[str]:
    """Lines of the results page."""
    yield "# Dimensions found on generated parts"
    yield ""
    yield from textwrap.wrap(
        f"Made by `benchmarks/dimensions_found.py`: {len(results)} parts, seeds 0 on, "
        f"{_count(results, 'turned')} of them turned, {_count(results, 'as_text_stl')} text files, "
        f"{_count(results, 'joints')} with T-joints, {_count(results, 'slivers')} with slivers. "
        "Sizes are true by construction; the generator was written without sight of the code that "
        "finds them. Missed: planted, but not listed within a micrometre or twice the file's "
        "noise. Invented: listed, but no true distance of the mesh.",
        100,
    )
    yield ""
    yield from table(results)


def table(results: list[Scored]) -> Iterator[str]:
    """A row for each family, and the parts told wrong."""
    yield "| family | parts | planted | listed | missed | invented | parts with neither |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    families = sorted({r.part.family for r in results})
    for family in (*families, "all"):
        of = [r for r in results if family in ("all", r.part.family)]
        clean = sum(not r.missed and not r.invented for r in of)
        counts = [
            len(of),
            sum(r.planted for r in of),
            sum(r.listed for r in of),
            sum(len(r.missed) for r in of),
            sum(len(r.invented) for r in of),
            clean,
        ]
        yield f"| {family} | " + " | ".join(str(count) for count in counts) + " |"
    wrong = [r for r in results if r.missed or r.invented]
    if wrong:
        yield ""
        yield "Parts told wrong:"
        yield ""
    for r in wrong:
        kinds = sorted({str(row["kind"]) for row in r.invented} | {m.kind for m in r.missed})
        yield (
            f"- seed {r.part.seed}, {r.part.family}: {len(r.missed)} missed, "
            f"{len(r.invented)} invented ({', '.join(kinds)})"
        )


def _count(results: list[Scored], what: str) -> int:
    """Parts that have something."""
    return sum(bool(getattr(r.part, what)) for r in results)


def made_and_scored(seeds: Iterable[int]) -> list[Scored]:
    """Score the parts of some seeds, and say how each went."""
    results = []
    with tempfile.TemporaryDirectory() as folder:
        for seed in seeds:
            r = scored(seed, Path(folder))
            results.append(r)
            print(
                f"{seed:4d} {r.part.family:10} {r.planted:4d} planted, {len(r.missed)} missed, "
                f"{len(r.invented)} invented, {r.seconds:.2f} s",
                flush=True,
            )
    return results


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n", maxsplit=1)[0])
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--fresh", type=int, default=0, help="parts of other seeds, beside these")
    parser.add_argument("--meshes", type=Path, help="folder of the meshes measured by hand")
    parser.add_argument("--page", type=Path, help="write the results here, instead of printing")
    asked = parser.parse_args()
    lines = list(page(made_and_scored(range(asked.count))))
    if asked.fresh:
        lines += ["", f"## Fresh parts, seeds {FRESH} on", ""]
        lines += ["None of them was looked at while the code was written.", ""]
        lines += table(made_and_scored(range(FRESH, FRESH + asked.fresh)))
    if asked.meshes:
        lines += ["", "## Public meshes, against lists written by hand", ""]
        lines += ["`benchmarks/dimensions_by_hand.py`; the lists hold all true lengths.", ""]
        lines += by_hand(asked.meshes)
    lines += ["", "## Large parts", "", "`benchmarks/dimensions_large.py`, a process each.", ""]
    lines += large()
    text = "\n".join(lines) + "\n"
    if asked.page:
        asked.page.write_text(text, encoding="utf-8")
    else:
        print(text)


if __name__ == "__main__":
    main()
