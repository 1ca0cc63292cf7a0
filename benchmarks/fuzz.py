"""Damaged and hostile files for every reader: nothing but our own error may come out.

Readers of tables, sheets, lists, reports and histories go on to what is shown of them.

Run ``python benchmarks/fuzz.py [--target NAME ...] [--seconds 60] [--seed 0]``. Files under
``tests/fuzz_seeds`` are changed at random (bytes, numbers, lines, pieces of other seeds) and read;
with ``--guided`` atheris steers the changes by what code they reach (one target at a time). What
raises anything but our error, takes over two seconds or over a gigabyte is written to ``--keep``.
"""

from __future__ import annotations

import argparse
import functools
import importlib
import io
import json
import math
import random
import re
import resource
import sys
import tempfile
import time
import traceback
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import trimesh
from rich.console import Console

from shrinkrule import (
    CalibrationRow,
    ShrinkruleError,
    demo_table,
    find_row,
    part_from_mesh,
    read_part,
)
from shrinkrule.calibration.sheets.load import read_load
from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.calibration.table.read import read_table
from shrinkrule.dimensions.dimension import Dimension
from shrinkrule.dimensions.find import find_dimensions
from shrinkrule.dimensions.limits import read_limits
from shrinkrule.history.store import checksums_in, history_path, read_history
from shrinkrule.report.parts.charts import charts_of, history_page_outputs
from shrinkrule.report.parts.history import show_history
from shrinkrule.report.parts.review import review_dict, show_reviews
from shrinkrule.review.judge import review_part
from shrinkrule.settings.toml_files import read_settings
from shrinkrule.sheet import LOAD_COLUMNS, sheet_csv
from shrinkrule.traveler.lines import sheet_lines
from shrinkrule.traveler.load import load_of
from shrinkrule.traveler.page import traveler_html
from shrinkrule.traveler.pictures import part_pictures

SEEDS: Final = Path(__file__).parent.parent / "tests" / "fuzz_seeds"
GUIDED: Final = (
    "shrinkrule.files.csv_dialect",
    "shrinkrule.files.other_meshes",
    "shrinkrule.files.stl",
    "shrinkrule.files.threemf.read",
    "shrinkrule.files.threemf.model",
    "shrinkrule.calibration.sheets.read",
    "shrinkrule.calibration.sheets.parse",
    "shrinkrule.calibration.table.read",
)
"""Modules whose ways atheris counts."""

_WHERE: Final = {
    "ShrinkruleError": "shrinkrule.errors",
    "read_part": "shrinkrule.mesh.read",
    "read_sheet": "shrinkrule.calibration.sheets.read",
    "read_table": "shrinkrule.calibration.table.read",
}

SLOW_S: Final = 2.0
LARGEST: Final = 1 << 16
"""Bytes of a changed file at most: size is looked at elsewhere."""

_PLACE = Path(tempfile.gettempdir())
_NUMBER: Final = re.compile(rb"-?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?")
_WORDS: Final = (
    *(b"0", b"-1", b"1e39", b"1e-40", b"nan", b"inf", b"99999999999999999999", b"4294967295"),
    *(
        b"",
        b"\0",
        b"\n",
        b"\r",
        b"\t",
        b",",
        b";",
        b'"',
        b"'",
        b"=1+1",
        b"\xff\xfe",
        b"\xef\xbb\xbf",
    ),
    *(
        b"solid",
        b"endsolid",
        b"facet",
        b"<",
        b">",
        b"/>",
        b"&lt;",
        b"]]>",
        b"<!--",
        b"%",
        b"\x1f\x8b",
    ),
    *(b"1,5", b"1.000,5", "½".encode(), "\u202e".encode(), b"-0.0", b"1_000", "١٢".encode()),
)


def _file(data: bytes, name: str) -> Path:
    path = _PLACE / name
    path.write_bytes(data)
    return path


def _package(data: bytes) -> bytes:
    """A 3MF package around a model: changes would else only break the zip's checksum."""
    out = io.BytesIO()
    relation = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
    with zipfile.ZipFile(out, "w") as package:
        package.writestr(
            "_rels/.rels",
            f'<Relationships><Relationship Target="/3D/3dmodel.model" Id="r" Type="{relation}"/>'
            "</Relationships>",
        )
        package.writestr("3D/3dmodel.model", data)
    return out.getvalue()


@functools.cache
def _rows() -> tuple[CalibrationRow, ...]:
    return demo_table()


def _review(data: bytes) -> None:
    """The filled sheet of a load, up to what is shown of its review."""
    rows = _rows()
    parts = read_load(_file(data, "fuzzed.load.csv"))
    row = find_row(rows, parts[0].sheet.settings.row or rows[0].name, "the demo table")
    reviews = [review_part(part, row, rows[1:]) for part in parts]
    show_reviews(reviews, _quiet())
    json.dumps([review_dict(review, row) for review in reviews], allow_nan=False)


def _history(data: bytes) -> None:
    """The history of a table, up to its page."""
    table = _PLACE / "table.csv"
    history_path(table).write_bytes(data)
    read = read_history(table)
    charts = charts_of(read.entries, _rows())
    show_history(read, read.entries, charts, _quiet())
    history_page_outputs(table, read.entries, charts, _PLACE)
    json.dumps([sorted(checksums_in(entry)) for entry in read.entries])
    json.dumps(read.entries, indent=2, allow_nan=False)


def _traveler(data: bytes) -> None:
    """A report beside its green part, up to the page of a load of it and a sound one."""
    for name in ("block.green.stl", "block.green.3mf"):
        _file((SEEDS / "stl" / "binary_t_joint").read_bytes(), name)
    sound = _file(seeds_of("report")[0], "sound.report.json")
    load = load_of([sound, _file(data, "fuzzed.report.json")])
    pictures = part_pictures(load.parts[1])
    sheet_csv(sheet_lines(load), LOAD_COLUMNS)
    traveler_html(load, [pictures, pictures], "load.csv")


def _quiet() -> Console:
    return Console(file=io.StringIO(), highlight=False)


@functools.cache
def _block() -> tuple[Dimension, ...]:
    """Dimensions of the block that the list among the seeds was written for."""
    return find_dimensions(
        part_from_mesh(trimesh.creation.box(bounds=((0.0, 0.0, 0.0), (30.0, 18.0, 9.0))))
    ).every


TARGETS: Final[dict[str, Callable[[bytes], object]]] = {
    "stl": lambda data: read_part(_file(data, "fuzzed.stl")),
    "3mf": lambda data: read_part(_file(data, "fuzzed.3mf")),
    "model": lambda data: read_part(_file(_package(data), "packed.3mf")),
    "mesh": lambda data: read_part(_file(data, "fuzzed.obj")),
    "sheet": lambda data: read_sheet(_file(data, "sheet.csv")),
    "table": lambda data: read_table(_file(data, "table.csv")),
    "load": _review,
    "limits": lambda data: read_limits(_file(data, "dimensions.csv"), _block()),
    "report": _traveler,
    "history": _history,
    "settings": lambda data: read_settings(_file(data, "shrinkrule.toml")),
}
"""What reads the bytes of a file, by name; each has a folder of seeds."""


def seeds_of(target: str) -> list[bytes]:
    """Files to begin with, in order of their names."""
    return [path.read_bytes() for path in sorted((SEEDS / target).iterdir())]


_VALUES: Final[tuple[Any, ...]] = (
    *(None, True, 0, -1, 1e39, -1e-40, math.nan, math.inf, 10**400, 2**63, "", "nan", "1e400"),
    *([], {}, [0.0], [[]], {"value": 1.0}, {"value": "x", "half95": None}, "../../x", "=1+1"),
    *("\0", "\n", "\u202e", "\ud800", "a" * 300, "<script>", "green_stl", "/dev/null"),
)


def _changed_json(data: bytes, rng: random.Random) -> bytes:
    """A JSON value with one to three of its inner values replaced, taken out or doubled."""
    whole = json.loads(data)
    for _ in range(rng.randint(1, 3)):
        inner: Any = whole
        while True:
            keys = list(inner) if isinstance(inner, dict) else list(range(len(inner)))
            if not keys:
                break
            key = rng.choice(keys)
            if isinstance(inner[key], dict | list) and rng.random() < 0.8:
                inner = inner[key]
                continue
            kind = rng.randrange(5)
            if kind == 0:
                del inner[key]
            elif kind == 1 and isinstance(inner, list):
                inner *= 2
            else:
                inner[key] = rng.choice(_VALUES)
            break
    return json.dumps(whole).encode()


def changed(seeds: list[bytes], rng: random.Random) -> bytes:
    """One of the seeds with one to six changes; of JSON in half of the cases within its values."""
    seed = rng.choice(seeds)
    if seed.startswith(b"{") and rng.random() < 0.5:
        values = seed.splitlines() if b"\n{" in seed else [seed]
        one_of = rng.randrange(len(values))
        values[one_of] = _changed_json(values[one_of], rng)
        return b"\n".join(values)
    data = bytearray(seed)
    for _ in range(rng.randint(1, 6)):
        place = rng.randrange(len(data) + 1)
        end = min(len(data), place + rng.choice((1, 1, 2, 4, 12, 50, 200)))
        kind = rng.randrange(8)
        if kind == 0:
            data[place:end] = b""
        elif kind == 1:
            data[place:end] = data[place:end] * rng.choice((2, 3, 40))
        elif kind == 2:
            data[place:end] = rng.randbytes(end - place)
        elif kind == 3:
            data[place:place] = rng.choice(_WORDS)
        elif kind == 4 and (numbers := list(_NUMBER.finditer(data))):
            number = rng.choice(numbers)
            data[number.start() : number.end()] = rng.choice(_WORDS)
        elif kind == 5:
            lines = data.split(b"\n")
            one, other = rng.randrange(len(lines)), rng.randrange(len(lines))
            lines[one], lines[other] = lines[other], lines[one]
            data = bytearray(b"\n".join(lines))
        elif kind == 6:
            other_seed = rng.choice(seeds)
            start = rng.randrange(len(other_seed) + 1)
            data[place:end] = other_seed[start : start + rng.choice((8, 50, 400))]
        else:
            del data[place:]
    return bytes(data[:LARGEST])


def read_once(target: str, data: bytes, slow_s: float = SLOW_S) -> bool:
    """Read damaged bytes; whether they were refused. Anything but our own error comes out.

    Raises
    ------
    TimeoutError
        If reading took too long.
    """
    start = time.process_time()
    refused = False
    try:
        TARGETS[target](data)
    except ShrinkruleError as error:
        refused = True
        if "\n" in str(error):
            raise ValueError(f"a refusal of several lines: {error}") from error
    if (spent := time.process_time() - start) > slow_s:
        raise TimeoutError(f"reading took {spent:.1f} s")
    return refused


def fuzz(target: str, seconds: float, seed: int, keep: Path) -> tuple[int, int, dict[str, Path]]:
    """Read changed files for a time: how many, how many were refused, and one file a finding."""
    rng, seeds = random.Random(f"{target} {seed}"), seeds_of(target)
    count = refused = 0
    found: dict[str, Path] = {}
    # The first one compiles loops.
    read_once(target, seeds[0], math.inf)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        data = changed(seeds, rng)
        count += 1
        try:
            refused += read_once(target, data)
        except Exception:  # noqa: BLE001 - that is what is looked for
            last = traceback.format_exc().splitlines()
            place = next((line.strip() for line in reversed(last) if "shrinkrule" in line), "")
            what = f"{re.sub('[0-9]+', 'N', last[-1])[:100]} at {place[-90:]}"
            if what not in found:
                found[what] = keep / f"{target}-{len(found)}"
                found[what].write_bytes(data)
    return count, refused, found


def guided(target: str, seconds: float) -> None:
    """Let atheris steer the changes; it ends the process at the first finding."""
    import atheris

    for name in [name for name in sys.modules if name.startswith("shrinkrule")]:
        del sys.modules[name]
    # Not the compiled loops: numba cannot compile what is counted.
    with atheris.instrument_imports(include=list(GUIDED)):
        for name in GUIDED:
            importlib.import_module(name)
    fresh = {name: importlib.import_module(path) for name, path in _WHERE.items()}
    globals().update({name: getattr(module, name) for name, module in fresh.items()})
    with tempfile.TemporaryDirectory() as corpus:
        for number, data in enumerate(seeds_of(target)):
            (Path(corpus) / str(number)).write_bytes(data)
        atheris.Setup(
            [sys.argv[0], corpus, f"-max_total_time={seconds:.0f}", f"-max_len={LARGEST}"],
            lambda data: read_once(target, data),
        )
        atheris.Fuzz()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--target", nargs="+", default=list(TARGETS), choices=list(TARGETS))
    parser.add_argument("--seconds", type=float, default=60.0, help="for each target")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()))
    parser.add_argument("--guided", action="store_true")
    asked = parser.parse_args()
    warnings.simplefilter("error")
    failed = False
    with tempfile.TemporaryDirectory() as scratch:
        _PLACE = Path(scratch)
        for name in asked.target:
            if asked.guided:
                guided(name, asked.seconds)
                continue
            times, refusals, findings = fuzz(name, asked.seconds, asked.seed, asked.keep)
            print(
                f"{name}: {times} files, {refusals} refused, {len(findings)} findings", flush=True
            )
            for text, path in findings.items():
                print(f"  {text}\n    {path}")
            failed |= bool(findings)
    peak = 1e-6 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"peak memory {peak:.2f} GB")
    sys.exit(failed)
