"""Mutants judged by the broad tests alone, each in a fork of one process that has all loaded.

The approved jobs (`tests/approved`) and the naive references of a room run without a test runner,
quick ones first, until one of them notices. A mutant is put into the functions that are loaded
already; one outside of any function, as a limit of a module, has its module loaded anew.

    python benchmarks/mutants_nets.py --count 210 --seed 2026 --out nets.jsonl
"""

from __future__ import annotations

import argparse
import functools
import gc
import importlib
import importlib.abc
import importlib.util
import json
import os
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import asdict
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any, Final

import mutants

ROOT: Final = Path(__file__).parents[1]
SOURCE: Final = ROOT / "src"
sys.path[:0] = [
    str(SOURCE),
    str(ROOT / "tests"),
    str(ROOT / "benchmarks"),
    str(ROOT / "sample_models"),
]

LIMIT_S: Final = 12.0
"""Processor time that a mutant may take beyond three times what the tests usually take."""

Net = Callable[[], None]


def approved_net(name: str) -> Net:
    """Run an approved job and hold it against its result."""

    def run() -> None:
        from approved.flatten import differences, flat, read_flat
        from approved.jobs import JOBS

        with tempfile.TemporaryDirectory() as folder:
            os.chdir(folder)
            found = differences(flat(JOBS[name]()), read_flat(mutants.RESULTS / f"{name}.json"))
            os.chdir(ROOT)
        assert not found, "; ".join([name, *found[:2]])

    return run


def reference_nets(module: str) -> dict[str, Net]:
    """Tests of a module of naive references, as plain calls: once for each of their cases."""

    def run(name: str, case: dict[str, Any]) -> None:
        getattr(importlib.import_module(module), name)(**case)

    nets: dict[str, Net] = {}
    for name, test in vars(importlib.import_module(module)).items():
        if name.startswith("test_"):
            for number, case in enumerate(_cases(test)):
                nets[f"{name}-{number}"] = functools.partial(run, name, case)
    return nets


def _cases(test: Any) -> list[dict[str, Any]]:
    cases: list[dict[str, Any]] = [{}]
    for mark in getattr(test, "pytestmark", []):
        names = [name.strip() for name in mark.args[0].split(",")]
        values = [v if len(names) > 1 else (v,) for v in mark.args[1]]
        cases = [{**c, **dict(zip(names, v, strict=True))} for c in cases for v in values]
    return cases


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module from a changed source."""

    def __init__(self, name: str, path: Path, source: bytes) -> None:
        self.name, self.path, self.source = name, path, source

    def find_spec(
        self, name: str, path: Any, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name != self.name:
            return None
        return importlib.util.spec_from_file_location(name, self.path, loader=self)

    def create_module(self, spec: ModuleSpec) -> None:
        return None

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.source, str(self.path), "exec"), vars(module))


def _codes(code: CodeType) -> Iterator[CodeType]:
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield constant
            yield from _codes(constant)


def _named(code: CodeType) -> dict[tuple[str, int], CodeType]:
    """Code of every function, by name and by its turn among those of that name."""
    found: dict[tuple[str, int], CodeType] = {}
    for one in _codes(code):
        turn = sum(name == one.co_qualname for name, _ in found)
        found[one.co_qualname, turn] = one
    return found


def put_in(mutant: mutants.Mutant) -> None:
    """Change the loaded program."""
    path = SOURCE / "shrinkrule" / mutant.file
    original = path.read_bytes()
    changed = original[: mutant.start] + mutant.after.encode() + original[mutant.end :]
    before = compile(original, str(path), "exec")
    after = compile(changed, str(path), "exec")
    old, new = _named(before), _named(after)
    known = {(code.co_qualname, code.co_firstlineno): key for key, code in old.items()}
    moved = {key for key in old if _body(old[key]) != _body(new[key])}
    if _body(before) != _body(after) or mutants.has_loops(mutant.file) or not moved:
        _load_anew(mutant.file, path, changed)
        return
    for thing in gc.get_objects():
        if isinstance(thing, FunctionType) and thing.__code__.co_filename == str(path):
            key = known.get((thing.__code__.co_qualname, thing.__code__.co_firstlineno))
            if key in moved:
                thing.__code__ = new[key]


def _body(code: CodeType) -> Any:
    """What a function does, without where it stands; functions inside it count as its own."""
    inside = [_body(c) if isinstance(c, CodeType) else (type(c), c) for c in code.co_consts]
    if code.co_name == "<module>":
        inside = [
            one
            for one, c in zip(inside, code.co_consts, strict=True)
            if not isinstance(c, CodeType)
        ]
    return code.co_code, inside, code.co_names, code.co_varnames


def _load_anew(file: str, path: Path, source: bytes) -> None:
    """Forget the program and have it loaded with one module changed, compiled anew."""
    _compile_anew({SOURCE / f"{module}.py" for module in mutants.importers(file)})
    for name in list(sys.modules):
        if name.partition(".")[0] in {"shrinkrule", "approved", "references", "three_firings"}:
            del sys.modules[name]
    name = ".".join(("shrinkrule", *Path(file).with_suffix("").parts))
    sys.meta_path.insert(0, _Changed(name.removesuffix(".__init__"), path, source))


def _compile_anew(paths: set[Path]) -> None:
    """Take no loop of these modules from the disk: there it is as it was."""
    from numba.core.caching import FunctionCache

    load, save = FunctionCache.load_overload, FunctionCache.save_overload

    def is_stale(cache: Any) -> bool:
        return Path(cache._py_func.__code__.co_filename) in paths

    def loaded(cache: Any, *which: Any) -> Any:
        return None if is_stale(cache) else load(cache, *which)

    def saved(cache: Any, *which: Any) -> None:
        if not is_stale(cache):
            save(cache, *which)

    FunctionCache.load_overload, FunctionCache.save_overload = loaded, saved


def forget_results() -> None:
    """Empty every cache of results."""
    for thing in gc.get_objects():
        if isinstance(thing, functools._lru_cache_wrapper):
            module = str(getattr(thing, "__module__", ""))
            if module.partition(".")[0] in {"shrinkrule", "approved"}:
                thing.cache_clear()


def judge(
    mutant: mutants.Mutant | None, nets: dict[str, Net], limit_s: float, *, plain: bool = False
) -> tuple[str, str, float]:
    """What the nets say in a fork: killed, survived or timeout; which noticed; and the seconds.

    ``plain``: loops run as Python, where they are small.
    """
    read, write = os.pipe()
    began = time.monotonic()
    child = os.fork()
    if child == 0:
        os.close(read)
        spent = resource.getrusage(resource.RUSAGE_SELF)
        limit = int(spent.ru_utime + spent.ru_stime + limit_s) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 2))
        signal.alarm(int(20 * limit_s) + 60)
        noticed = ""
        try:
            if plain:
                import numba

                numba.config.DISABLE_JIT = 1
            if mutant is not None:
                put_in(mutant)
            for name, net in nets.items():
                noticed = name
                net()
            noticed = ""
        except BaseException as error:  # noqa: BLE001
            noticed += f": {type(error).__name__}: {error}"[:300]
            if mutant is None:
                traceback.print_exc()
        os.write(write, noticed.encode()[:4000])
        os._exit(1 if noticed else 0)
    os.close(write)
    with os.fdopen(read, "rb") as pipe:
        said = pipe.read().decode(errors="replace")
    _, status = os.waitpid(child, 0)
    took = time.monotonic() - began
    if os.WIFSIGNALED(status):
        late = os.WTERMSIG(status) in {signal.SIGXCPU, signal.SIGALRM, signal.SIGKILL}
        return ("timeout" if late else "killed"), f"signal {os.WTERMSIG(status)}", took
    return ("killed" if os.WEXITSTATUS(status) else "survived"), said, took


def _timed(nets: dict[str, Net]) -> dict[str, float]:
    taken = {}
    for name, net in nets.items():
        began = time.process_time()
        net()
        taken[name] = time.process_time() - began
    return taken


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n", maxsplit=1)[0])
    parser.add_argument("--count", type=int, default=210)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--out", type=Path, default=Path("nets.jsonl"))
    parser.add_argument("--only", default="", help="files whose path starts so")
    parser.add_argument("--rooms", nargs="*", default=list(mutants.ROOMS))
    parser.add_argument("--loops", choices=("with", "without", "all"), default="all")
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after about so long")
    asked = parser.parse_args()
    began = time.monotonic()
    os.environ["XDG_CONFIG_HOME"] = tempfile.mkdtemp()
    drawn = mutants.draw(asked.count, asked.seed, asked.only)
    done = asked.out.read_text(encoding="utf-8") if asked.out.exists() else ""
    have = {(r["file"], r["start"], r["after"]) for r in map(json.loads, done.splitlines())}
    left = [m for m in drawn if (m.file, m.start, m.after) not in have and m.room in asked.rooms]
    if asked.loops != "all":
        left = [m for m in left if mutants.has_loops(m.file) == (asked.loops == "with")]
    from approved.jobs import JOBS

    nets: dict[str, dict[str, Net]] = {}
    usual: dict[str, float] = {}
    for room in dict.fromkeys(m.room for m in left):
        chosen: dict[str, Net] = {}
        for name in mutants.nets_of(room):
            is_module = name.startswith("references.")
            chosen.update(reference_nets(name) if is_module else {name: approved_net(name)})
        taken = _timed(chosen)
        nets[room] = dict(sorted(chosen.items(), key=lambda item: taken[item[0]]))
        usual[room] = sum(taken.values())
        forget_results()
        verdict, said, took = judge(None, nets[room], 3.0 * usual[room] + LIMIT_S)
        print(
            f"{room}: {len(chosen)} nets, {usual[room]:.1f} s, {took:.1f} s in a fork", flush=True
        )
        if verdict != "survived":
            sys.exit(f"without a mutant: {verdict} {said}")
    for mutant in left:
        if time.monotonic() - began > asked.seconds:
            break
        limit = 3.0 * usual[mutant.room] + LIMIT_S
        verdict, said, took = "survived", "", 0.0
        small = {name: net for name, net in nets[mutant.room].items() if name not in JOBS}
        if mutants.has_loops(mutant.file):
            limit += mutants.COMPILING_S
            verdict, said, took = judge(mutant, small, limit, plain=True)
        if verdict == "survived":
            verdict, said, took = judge(mutant, nets[mutant.room], limit)
        result = {**asdict(mutant), "verdict": verdict, "by": said, "seconds": round(took, 1)}
        with asked.out.open("a", encoding="utf-8") as results:
            results.write(json.dumps(result) + "\n")
        print(f"{verdict:9}{took:6.1f} s  {mutant}  {said[:80]!r}", flush=True)
    mutants.summary(asked.out)


if __name__ == "__main__":
    main()
