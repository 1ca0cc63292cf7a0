"""Mutants of the numerical core: small mistakes, and whether a test notices them.

Each mutant changes one spot of one module in a copy of the tree: a sign, a factor, min for max, a
comparison, an index or axis, `and` for `or`. Only the tests that belong to the module run. Rooms
take turns and so do kinds, so that a small room is looked at as closely as a large one. Mutants
that change nothing anyone could observe are marked by hand in `mutants_equivalent.csv`.

    python benchmarks/mutants.py --count 210 --seed 12 --out mutants.jsonl
    python benchmarks/mutants.py --again mutants.jsonl      # its survivors, by more tests
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import csv
import importlib
import importlib.util
import json
import multiprocessing
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from multiprocessing import process
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[1]
PACKAGE: Final = "src/shrinkrule"
COPIED: Final = (
    *("src", "tests", "docs", "benchmarks", "sample_models", "pyproject.toml", "README.md"),
)
RESULTS: Final = ROOT / "tests/approved/results"
EQUIVALENT: Final = Path(__file__).with_name("mutants_equivalent.csv")

ROOMS: Final = {
    "calibration": (
        "physics",
        "calibration/statistics",
        "calibration/fit",
        "calibration/table/row.py",
        "calibration/table/between.py",
    ),
    "compensation": ("compensation",),
    "sag": (
        "sag/fem",
        "sag/voxels",
        "sag/contact",
        "sag/material.py",
        "sag/precurve.py",
        "sag/gaps.py",
        "sag/plan.py",
        "sag/result.py",
    ),
    "thickness": ("walls/thickness", "walls/regions"),
    "layers": ("walls/layers",),
    "coupon": (
        "coupon/design.py",
        "coupon/spans.py",
        "coupon/bars.py",
        "coupon/block.py",
        "coupon/block_sizes.py",
        "coupon/ladder.py",
        "coupon/piece.py",
        "coupon/layout.py",
    ),
    "dimensions": (
        "dimensions/recognition",
        "dimensions/rounds.py",
        "dimensions/lengths.py",
        "dimensions/across.py",
        "dimensions/promise.py",
    ),
    "ground": (
        "loads",
        "furnace.py",
        "units.py",
        "numerics/edges.py",
        "numerics/triangles.py",
        "numerics/arrays.py",
        "job/run.py",
        "job/result.py",
    ),
}

_FIT: Final = (
    "tests/calibration/fit/test_fit_sheets.py",
    "tests/calibration/fit/test_facts_fit.py",
    "tests/calibration/fit/test_facts_limits.py",
    "tests/calibration/fit/test_zero_and_drift.py",
)
_PROMISE: Final = "tests/calibration/fit/test_promise.py"
_COVERAGE: Final = "tests/calibration/fit/test_coverage.py"
_SOLVE: Final = ("tests/sag/test_facts_sag.py", "tests/sag/test_solve.py")
_JOB: Final = (
    "tests/test_facts_rows.py",
    "tests/test_facts_precurved.py",
    "tests/test_facts_job.py",
    "tests/test_job.py",
    "tests/test_sizes.py",
)
SUITES: Final[dict[str, tuple[str, ...]]] = {
    "calibration/statistics": (
        "tests/calibration/statistics",
        "tests/references/test_calibration_regression.py",
        "tests/references/test_calibration_random_effects.py",
        *_FIT,
        _COVERAGE,
    ),
    "calibration/fit": ("tests/calibration/fit/test_outliers.py", *_FIT, _PROMISE),
    "calibration/fit/axis.py": (
        "tests/references/test_calibration_regression.py",
        *_FIT,
        _COVERAGE,
    ),
    "calibration/fit/balance.py": (
        "tests/calibration/fit/test_balance.py",
        "tests/references/test_calibration_balance.py",
        *_FIT,
    ),
    "calibration/fit/printing.py": (
        "tests/calibration/fit/test_facts_printing.py",
        "tests/calibration/fit/test_printing.py",
        *_FIT,
        _PROMISE,
    ),
    "calibration/fit/beams.py": (
        "tests/calibration/fit/test_facts_beams.py",
        "tests/calibration/fit/test_sag.py",
        "tests/references/test_calibration_sag.py",
        *_FIT,
    ),
    "physics": (
        "tests/physics",
        "tests/calibration/statistics",
        "tests/calibration/fit/test_balance.py",
        "tests/calibration/fit/test_sag.py",
        "tests/references/test_calibration_random_effects.py",
        "tests/references/test_calibration_balance.py",
        "tests/references/test_calibration_sag.py",
        "tests/compensation/test_predict.py",
        *_FIT,
        _PROMISE,
        _COVERAGE,
    ),
    "calibration/fit/sag.py": (
        "tests/calibration/fit/test_sag.py",
        "tests/references/test_calibration_sag.py",
        *_FIT,
    ),
    "calibration/table": (
        "tests/calibration/table",
        "tests/settings/test_measured.py",
        "tests/compensation/test_predict.py",
        *_FIT,
    ),
    "compensation": (
        "tests/compensation",
        "tests/references/test_tolerance_published.py",
        "tests/references/test_tolerance_edges.py",
        "tests/references/test_shrinkage_published.py",
        *_JOB,
    ),
    "sag/fem": ("tests/sag/fem", *_SOLVE, "tests/references/test_sag_scikit_fem.py"),
    "sag/voxels": ("tests/sag/voxels", "tests/sag/fem", *_SOLVE),
    "sag/contact": ("tests/sag/contact", *_SOLVE),
    "sag": (
        "tests/sag/test_material.py",
        "tests/sag/test_facts_plan.py",
        "tests/sag/test_lying.py",
        "tests/sag/test_steering.py",
        *_SOLVE,
        "tests/sag/test_estimate.py",
    ),
    "sag/precurve.py": (
        "tests/sag/test_facts_precurve.py",
        *(
            f"tests/sag/test_precurve.py::test_{name}"
            for name in (
                "stiff_part_needs_nothing",
                "hopeless_part_comes_with_what_would_help",
                "precurved_span_is_arched_by_its_sag",
                "flat_base_stays_flat",
                "round_trip_of_a_bridge_whose_feet_rock",
                "precurving_uses_the_sag_of_the_part_as_given",
            )
        ),
    ),
    "walls/thickness": (
        "tests/walls/test_facts_nearest.py",
        "tests/walls/test_facts_balls.py",
        "tests/walls/test_thickness.py",
        "tests/walls/test_behind.py",
        "tests/walls/test_facts_bitangent.py",
        "tests/walls/test_sampling.py",
        "tests/walls/test_gaps.py",
    ),
    "walls/regions": (
        "tests/walls/test_regions.py",
        "tests/walls/test_facts_outlines.py",
        "tests/walls/test_gaps.py",
        "tests/walls/test_touching.py",
        "tests/walls/test_places.py",
        "tests/walls/test_detection.py",
    ),
    "walls/layers": (
        "tests/walls/test_facts_sections.py",
        "tests/walls/test_facts_layers.py",
        "tests/walls/test_facts_outlines.py",
        "tests/walls/test_facts_cuts.py",
        "tests/walls/test_facts_lost.py",
        "tests/walls/test_layers.py",
        "tests/walls/test_layers_places.py",
        "tests/walls/test_layers_unsound.py",
    ),
    "coupon": (
        "tests/coupon/test_facts_layout.py",
        "tests/coupon/test_facts_block.py",
        "tests/coupon/test_facts_coupon.py",
        "tests/coupon/test_facts_sizes.py",
        "tests/coupon/test_dimensions.py",
        "tests/coupon/test_bars.py",
        "tests/coupon/test_page.py",
        "tests/coupon/test_solid.py",
        "tests/coupon/test_own_walls.py",
        "tests/coupon/test_small_furnaces.py",
    ),
    "dimensions": (
        "tests/dimensions/test_find.py",
        "tests/dimensions/test_noise.py",
        "tests/dimensions/test_promise.py",
        "tests/dimensions/test_limits.py",
    ),
    "loads": ("tests/loads",),
    "furnace.py": ("tests/test_facts_ground.py", "tests/test_furnace.py"),
    "units.py": ("tests/test_facts_ground.py", "tests/files/test_threemf.py"),
    "numerics": (
        "tests/test_facts_ground.py",
        "tests/numerics",
        "tests/mesh",
        "tests/walls/test_thickness.py",
    ),
    "job": (
        *_JOB,
        "tests/calibration/table/test_thickest_section.py",
        "tests/test_bodies.py",
        "tests/test_facts_bent.py",
        "tests/test_facts_print.py",
    ),
}
"""Tests of a module, by the start of its path: the longest start counts. The module's own examples
come first, then these in order."""

LOADED_ONCE: Final = (
    *("numba", "trimesh", "igl", "embreex", "manifold3d", "networkx", "lxml.etree", "shapely"),
    *("scipy.optimize", "scipy.spatial", "scipy.sparse.linalg", "scipy.ndimage", "scipy.stats"),
    *("skfem", "pyamg", "statsmodels.api", "hypothesis", "pytest", "pydantic", "typer"),
    *("rich.console", "jinja2", "matplotlib.pyplot", "PIL.Image"),
)
"""Libraries that each process of tests finds loaded already."""

NETS: Final[dict[str, tuple[str, ...]]] = {
    "calibration": (
        "rows of densities",
        "balances",
        "fit of one firing",
        "fit of",
        "fit",
        "promised shaft",
        "traveler, review and lesson",
    ),
    "compensation": (
        "compensate by hand",
        "compensate steel",
        "promised shaft",
        "compensate",
        "promised",
    ),
    "sag": ("sag bridge", "sag", "precurve", "compensate bent", "ways up"),
    "thickness": (
        "references.test_naive_balls",
        "thickness",
        "walls crossed",
        "walls made",
        "walls",
    ),
    "layers": ("references.test_naive_layers", "walls crossed", "walls made", "walls two", "walls"),
    "coupon": ("coupon",),
    "dimensions": ("dimensions", "promised"),
    "ground": (
        "references.test_naive_layers",
        "loads",
        "furnaces",
        "soundness",
        "compensate by hand",
        "walls two",
        "compensate",
    ),
}
"""Broad tests that a mutant of a room meets first, quick ones before slow ones: folders, and
beginnings of the names of approved jobs."""

WIDER: Final = {
    "calibration": ("tests/calibration", "tests/cli/test_calibrate_command.py", "tests/report"),
    "compensation": ("tests/test_job.py", "tests/cli/test_cli.py"),
    "sag": ("tests/sag/test_precurve.py", "tests/cli/test_sag_command.py"),
    "thickness": (
        "tests/walls/test_detection.py",
        "tests/walls/test_check.py",
        "tests/walls/test_crossing.py",
        "tests/walls/test_accuracy.py",
    ),
    "layers": (
        "tests/walls/test_layers_places.py",
        "tests/walls/test_layers_unsound.py",
        "tests/walls/test_check.py",
    ),
    "coupon": ("tests/cli/test_coupon_command.py",),
    "dimensions": ("tests/cli/test_dimensions_command.py", "tests/traveler"),
    "ground": ("tests/test_job.py", "tests/cli/test_cli.py", "tests/walls/test_gaps.py"),
}
"""Tests of a room that survivors meet besides, when they are judged again."""

SHORTEST_LIMIT_S: Final = 25.0
TIMES_AS_LONG: Final = 2.5
"""A mutant is stopped after this many times the processor time its tests take without it: on a
shared machine time by the clock says nothing."""

COMPILING_S: Final = 60.0
"""More processor time for a mutant whose loops have to be compiled anew."""


@dataclass(frozen=True)
class Mutant:
    """One change of one spot."""

    room: str
    kind: str
    file: str
    line: int
    start: int
    end: int
    before: str
    after: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line} {self.kind}: {self.before} -> {self.after}"


COMPARISONS: Final[dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]]] = {
    ast.Lt: (ast.LtE, ast.Gt),
    ast.LtE: (ast.Lt, ast.GtE),
    ast.Gt: (ast.GtE, ast.Lt),
    ast.GtE: (ast.Gt, ast.LtE),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
}
EXTREMES: Final = {
    "min": "max",
    "minimum": "maximum",
    "argmin": "argmax",
    "fmin": "fmax",
    "amin": "amax",
}
EXTREMES.update({v: k for k, v in list(EXTREMES.items())})
FACTORS: Final = (2, 3, 0.5)


def changes(node: ast.AST) -> Iterator[tuple[str, ast.expr, ast.expr]]:
    """Kind, node and what takes its place, for every mistake that can be made at a node."""
    match node:
        case ast.BinOp(left, ast.Add() | ast.Sub() as sign, right):
            if not any(isinstance(n, ast.List | ast.Tuple) or _is_text(n) for n in (left, right)):
                other = ast.Sub() if isinstance(sign, ast.Add) else ast.Add()
                yield "plus and minus", node, ast.BinOp(left, other, right)
        case ast.UnaryOp(ast.USub(), operand) if not isinstance(operand, ast.Constant):
            yield "sign", node, operand
        case ast.BinOp(left, ast.Mult() | ast.Div() as by, ast.Constant(float() as value) as one):
            yield "sign", node, ast.BinOp(left, by, ast.UnaryOp(ast.USub(), one))
            for factor in FACTORS:
                yield "factor", node, ast.BinOp(left, by, ast.Constant(value * factor))
        case ast.BinOp(ast.Constant(float() | int() as value) as one, ast.Mult() as by, right):
            yield "sign", node, ast.BinOp(ast.UnaryOp(ast.USub(), one), by, right)
            for factor in FACTORS:
                yield "factor", node, ast.BinOp(ast.Constant(value * factor), by, right)
        case ast.BinOp(left, ast.Pow(), ast.Constant(int() as power)):
            yield "factor", node, ast.BinOp(left, ast.Pow(), ast.Constant(power + 1))
        case ast.Compare(left, [sign], [right]) if type(sign) in COMPARISONS:
            for other_sign in COMPARISONS[type(sign)]:
                yield "comparison", node, ast.Compare(left, [other_sign()], [right])
        case ast.BoolOp(word, values):
            other_word = ast.Or() if isinstance(word, ast.And) else ast.And()
            yield "and, or", node, ast.BoolOp(other_word, values)
        case ast.Call(ast.Name("min" | "max" as name), arguments, keywords):
            changed = ast.Call(ast.Name(EXTREMES[name]), arguments, keywords)
            yield "min, max", node, changed
        case ast.Call(ast.Attribute(value, name), arguments, keywords) if name in EXTREMES:
            changed = ast.Call(ast.Attribute(value, EXTREMES[name]), arguments, keywords)
            yield "min, max", node, changed
        case ast.Subscript(value, index):
            for other_index in _other_indices(index):
                yield "index", node, ast.Subscript(value, other_index)
        case ast.Call(function, arguments, keywords):
            for i, keyword in enumerate(keywords):
                if keyword.arg == "axis" and isinstance(keyword.value, ast.Constant):
                    axis = ast.keyword("axis", ast.Constant(0 if keyword.value.value else 1))
                    swapped = [*keywords[:i], axis, *keywords[i + 1 :]]
                    yield "index", node, ast.Call(function, arguments, swapped)


def _is_text(node: ast.AST) -> bool:
    is_word = isinstance(node, ast.Constant) and isinstance(node.value, str)
    return is_word or isinstance(node, ast.JoinedStr)


def _other_indices(index: ast.expr) -> Iterator[ast.expr]:
    """Indices 0, 1 and 2 exchanged, alone or as one of several."""
    match index:
        case ast.Constant(0 | 1 | 2 as place) if not isinstance(place, bool):
            for other in {0, 1, 2} - {place}:
                yield ast.Constant(other)
        case ast.Tuple(elements):
            for i, element in enumerate(elements):
                for other_element in _other_indices(element):
                    yield ast.Tuple([*elements[:i], other_element, *elements[i + 1 :]])


def mutants_of(room: str, file: str) -> list[Mutant]:
    """All mutants of one module; words, messages and annotations are left alone."""
    source = (ROOT / PACKAGE / file).read_text(encoding="utf-8")
    starts = [0]
    for text in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(text.encode()))
    found: list[Mutant] = []

    def visit(node: ast.AST) -> None:
        if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert):
            return
        for kind, old, new in changes(node):
            start = starts[old.lineno - 1] + old.col_offset
            end = starts[(old.end_lineno or old.lineno) - 1] + (old.end_col_offset or 0)
            after = ast.unparse(ast.fix_missing_locations(new))
            before = ast.unparse(old)
            found.append(Mutant(room, kind, file, old.lineno, start, end, before, f"({after})"))
        for name, value in ast.iter_fields(node):
            if name in {"annotation", "returns", "decorator_list", "type_comment"}:
                continue
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    visit(child)

    visit(ast.parse(source))
    return found


def draw(count: int, seed: int, only: str = "") -> list[Mutant]:
    """Draw mutants: rooms take turns, and within a room a kind is drawn before the spot."""
    rng = random.Random(seed)
    left: dict[str, dict[str, list[Mutant]]] = {}
    for room, starts in ROOMS.items():
        kinds = left.setdefault(room, {})
        for start in starts:
            place = ROOT / PACKAGE / start
            files = sorted(place.rglob("*.py")) if place.is_dir() else [place]
            for path in files:
                file = path.relative_to(ROOT / PACKAGE).as_posix()
                for mutant in mutants_of(room, file) if file.startswith(only) else ():
                    kinds.setdefault(mutant.kind, []).append(mutant)
    drawn: list[Mutant] = []
    while len(drawn) < count and any(left.values()):
        for kinds in filter(None, left.values()):
            kind = rng.choice(sorted(kinds))
            spots = kinds[kind]
            drawn.append(spots.pop(rng.randrange(len(spots))))
            if not spots:
                del kinds[kind]
    return drawn[:count]


def tests_of(file: str, tree: Path) -> list[str]:
    """Tests of a module: its own examples, then those of the longest start of its path."""
    start = max((s for s in SUITES if file.startswith(s)), key=len)
    chosen = [f"{PACKAGE}/{file}"] if ">>>" in (ROOT / PACKAGE / file).read_text() else []
    return chosen + [t for t in SUITES[start] if (tree / t.partition("::")[0]).exists()]


def has_loops(file: str) -> bool:
    """Whether a module has compiled loops of its own."""
    source = (ROOT / PACKAGE / file).read_text(encoding="utf-8")
    return "@compiled" in source or "@inner" in source


def importers(file: str) -> set[str]:
    """The module and all that import it, directly or not: their compiled loops may hold it."""
    imports: dict[str, set[str]] = {}
    for path in (ROOT / PACKAGE).rglob("*.py"):
        names: set[str] = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                names.add(node.module)
                names.update(f"{node.module}.{alias.name}" for alias in node.names)
        imports[path.relative_to(ROOT / "src").with_suffix("").as_posix()] = names
    reached = {f"shrinkrule/{file.removesuffix('.py')}"}
    while True:
        dotted = {module.replace("/", ".") for module in reached}
        more = {module for module, names in imports.items() if names & dotted} - reached
        if not more:
            return reached
        reached |= more


def nets_of(room: str) -> list[str]:
    """The broad tests of a room, each once, in their order."""
    results = sorted(path.stem for path in RESULTS.glob("*.json"))
    chosen: dict[str, None] = {}
    for net in NETS[room]:
        if net.startswith("references."):
            chosen[net] = None
        else:
            chosen.update((name, None) for name in results if name.startswith(net))
    return list(chosen)


class Copy:
    """A copy of the tree in which mutants live one after the other."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.primed = folder / "primed"
        self.cache = folder / "cache"
        self.tree = folder / "tree"
        self.tree.mkdir(parents=True, exist_ok=True)
        for name in COPIED:
            if (ROOT / name).is_dir():
                ignored = shutil.ignore_patterns("__pycache__", ".hypothesis")
                shutil.copytree(ROOT / name, self.tree / name, ignore=ignored, dirs_exist_ok=True)
            else:
                shutil.copy2(ROOT / name, self.tree / name)
        self.known = folder / "usual.json"
        self.usual_s: dict[str, float] = {}
        if self.known.exists():
            self.usual_s = json.loads(self.known.read_text(encoding="utf-8"))

    def prime(self, tests: list[str]) -> None:
        """Run tests without a mutant: they must pass, and leave their compiled loops behind."""
        # The first run compiles, the second tells how long the tests take.
        for _ in range(2):
            began = _processor_s()
            said = self._pytest(tests, self.primed, 1800.0)
            if said != 0:
                print((self.folder / "last.txt").read_text(encoding="utf-8")[-3000:])
                sys.exit(f"without a mutant: {tests} ended with {said}")
        self.usual_s[" ".join(tests)] = _processor_s() - began
        self.known.write_text(json.dumps(self.usual_s), encoding="utf-8")

    def judge(self, mutant: Mutant, tests: list[str]) -> tuple[str, float]:
        """What tests say to a mutant: killed, survived or timeout; and how long they took."""
        if " ".join(tests) not in self.usual_s:
            self.prime(tests)
        path = self.tree / PACKAGE / mutant.file
        original = path.read_bytes()
        shutil.rmtree(self.cache, ignore_errors=True)
        shutil.copytree(self.primed, self.cache)
        limit = max(SHORTEST_LIMIT_S, TIMES_AS_LONG * self.usual_s[" ".join(tests)])
        # A compiled loop on disk does not know that a loop it calls has changed.
        compiles = 0.0
        for module in importers(mutant.file):
            parent, stem = module.rsplit("/", 2)[-2:]
            for stale in self.cache.glob(f"{parent}_*/{stem}.*"):
                stale.unlink()
                compiles = COMPILING_S
        changed = original[: mutant.start] + mutant.after.encode() + original[mutant.end :]
        began = time.monotonic()
        try:
            _replace(path, changed)
            said = self._pytest(tests, self.cache, limit + compiles)
        finally:
            _replace(path, original)
        verdict = {0: "survived", -1: "timeout"}.get(said, "killed")
        return verdict, time.monotonic() - began

    def _pytest(self, tests: list[str], cache: Path, limit_s: float) -> int:
        """Exit code of pytest in a process of its own, -1 if it was stopped."""
        cache.mkdir(exist_ok=True)
        child = multiprocessing.get_context("fork").Process(
            target=_in_child, args=(self.tree, tests, cache, self.folder / "last.txt", limit_s)
        )
        child.start()
        # What waits for ever uses no processor.
        child.join(10.0 * limit_s)
        stopped = child.is_alive() or child.exitcode == -signal.SIGXCPU
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child.pid or 0, signal.SIGKILL)
        child.join()
        return -1 if stopped else int(child.exitcode or 0)


def _replace(path: Path, content: bytes) -> None:
    """Write a module; byte code of the same second and size would hide the change."""
    path.write_bytes(content)
    Path(importlib.util.cache_from_source(str(path))).unlink(missing_ok=True)


def _processor_s() -> float:
    """Processor time of all processes that have ended, s."""
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return spent.ru_utime + spent.ru_stime


def _in_child(tree: Path, tests: list[str], cache: Path, log: Path, limit_s: float) -> None:
    import numba
    import pytest
    from hypothesis import Phase, settings

    os.setpgid(0, 0)
    spent = resource.getrusage(resource.RUSAGE_SELF)
    limit = int(limit_s + spent.ru_utime + spent.ru_stime) + 1
    resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 5))
    os.chdir(tree)
    with log.open("w") as out:
        os.dup2(out.fileno(), 1)
        os.dup2(out.fileno(), 2)
    os.environ["NUMBA_CACHE_DIR"] = str(cache)
    numba.config.CACHE_DIR = str(cache)
    # A test may itself start processes, as a daemon may not.
    process.current_process()._config["daemon"] = False  # type: ignore[attr-defined]
    # A counterexample need not be made small.
    settings.register_profile(
        "mutants", phases=[Phase.explicit, Phase.generate], derandomize=True, database=None
    )
    settings.load_profile("mutants")
    # The package must come from the copy, whatever is installed.
    sys.path.insert(0, str(tree / "src"))
    early = "ignore::pytest.PytestAssertRewriteWarning"  # what was loaded before the fork
    plugins = ("-p", "no:cacheprovider", "-p", "no:benchmark")
    code = pytest.main(["-x", "-q", "-W", early, *plugins, *tests])
    sys.stdout.flush()
    os._exit(int(code))


def _work(number: int, folder: Path, mutants: list[Mutant], out: Path, wider: bool) -> None:
    for name in LOADED_ONCE:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    copy = Copy(folder / str(number))
    for mutant in mutants:
        tests = tests_of(mutant.file, copy.tree)
        if wider:
            tests += [test for test in WIDER[mutant.room] if test not in tests]
        verdict, seconds = copy.judge(mutant, tests)
        line = json.dumps({**asdict(mutant), "verdict": verdict, "seconds": round(seconds, 1)})
        with out.open("a", encoding="utf-8") as results:
            results.write(line + "\n")
        print(f"{verdict:9}{seconds:6.1f} s  {mutant}", flush=True)


def equivalents() -> dict[tuple[str, str, str], str]:
    """Reason of each mutant that was marked as equivalent by hand: file, before, after."""
    if not EQUIVALENT.exists():
        return {}
    with EQUIVALENT.open(encoding="utf-8", newline="") as rows:
        return {(r["file"], r["before"], r["after"]): r["reason"] for r in csv.DictReader(rows)}


def summary(out: Path) -> None:
    """Count what a results file holds, the last verdict of each mutant."""
    if not out.exists():
        return
    last: dict[tuple[str, int, str], dict[str, str]] = {}
    for line in out.read_text(encoding="utf-8").splitlines():
        result = json.loads(line)
        last[result["file"], result["start"], result["after"]] = result
    marked = equivalents()
    rooms: dict[str, dict[str, int]] = {room: {} for room in ROOMS}
    survivors = []
    for result in last.values():
        verdict = result["verdict"]
        if verdict == "survived" and (result["file"], result["before"], result["after"]) in marked:
            verdict = "equivalent"
        elif verdict == "survived":
            survivors.append(result)
        counts = rooms[result["room"]]
        counts[verdict] = counts.get(verdict, 0) + 1
    verdicts = ("killed", "timeout", "equivalent", "survived")
    print(f"{'room':14}" + "".join(f"{verdict:>12}" for verdict in verdicts))
    totals = {v: sum(counts.get(v, 0) for counts in rooms.values()) for v in verdicts}
    for room, counts in (*rooms.items(), ("all", totals)):
        print(f"{room:14}" + "".join(f"{counts.get(v, 0):12d}" for v in verdicts))
    noticed = totals["killed"] + totals["timeout"]
    print(f"noticed {100.0 * noticed / max(noticed + totals['survived'], 1):.1f} %")
    for r in sorted(survivors, key=lambda r: (r["file"], r["line"])):
        print(f"  {r['file']}:{r['line']} {r['kind']}: {r['before']} -> {r['after']}")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n", maxsplit=1)[0])
    parser.add_argument("--count", type=int, default=210)
    parser.add_argument("--seed", type=int, default=12)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", default="", help="files whose path starts so")
    parser.add_argument("--out", type=Path, default=Path("mutants.jsonl"))
    parser.add_argument("--folder", type=Path, help="where copies and compiled loops are kept")
    parser.add_argument(
        "--again",
        type=Path,
        help="results of a run: judge its survivors and timeouts by more tests",
    )
    parser.add_argument(
        "--module", action="store_true", help="those again by the tests of their module alone"
    )
    parser.add_argument("--summary", type=Path, help="only count what a results file holds")
    asked = parser.parse_args()
    if asked.summary:
        return summary(asked.summary)
    out = asked.again or asked.out
    if asked.again:
        names = Mutant.__dataclass_fields__
        last = {}
        for line in out.read_text(encoding="utf-8").splitlines():
            result = json.loads(line)
            mutant = Mutant(**{name: result[name] for name in names})
            last[mutant] = result["verdict"]
        marked = equivalents()
        drawn = [
            m
            for m, v in last.items()
            if v in {"survived", "timeout"} and (m.file, m.before, m.after) not in marked
        ]
        drawn = [m for m in drawn if m.file.startswith(asked.only)]
    else:
        drawn = draw(asked.count, asked.seed, asked.only)
        done = out.read_text(encoding="utf-8") if out.exists() else ""
        have = {(r["file"], r["start"], r["after"]) for r in map(json.loads, done.splitlines())}
        drawn = [m for m in drawn if (m.file, m.start, m.after) not in have]
    with contextlib.ExitStack() as stack:
        folder = asked.folder or stack.enter_context(tempfile.TemporaryDirectory())
        context = multiprocessing.get_context("spawn")
        # A room stays with one process, so that its tests run only once without a mutant.
        rooms = list(ROOMS)
        shares = [
            [m for m in drawn if rooms.index(m.room) % asked.workers == number]
            for number in range(asked.workers)
        ]
        workers = [
            context.Process(
                target=_work,
                args=(number, Path(folder), share, out, bool(asked.again) and not asked.module),
            )
            for number, share in enumerate(shares)
        ]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join()
    return summary(out)


if __name__ == "__main__":
    main()
