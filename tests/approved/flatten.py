"""Results as one flat table of words and numbers, and the comparison of two such tables."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from pathlib import Path
from typing import Any, Final

import numpy as np
import trimesh

RELATIVE: Final = 1e-5
ABSOLUTE: Final = 1e-7

LEFT_OUT: Final = frozenset(
    {"created", "program", "command", "sha256", "green_sha256", "files", "date", "html", "source"}
    | {
        "iterations",
        "iteration_error",
        "contact_rounds",
        "error",
        "evidence",
        "SHA-256 of the model",
    }
    | {"surface", "rays", "shown", "where", "operator", "solution", "values of the row"}
)
"""Names of what depends on clock, library or machine, or is no result."""

Flat = dict[str, Any]

_LISTED: Final = 12  # numbers of an array that are listed one by one
_ROWS: Final = 8  # things of a list that are told one by one


def flat(value: Any) -> Flat:
    """Every word and number of a result by its path; long arrays by a few sums."""
    return dict(_walk("", value))


def _walk(path: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Enum):
        yield path, str(value.value)
    elif value is None or isinstance(value, bool | int | str):
        yield path, value
    elif isinstance(value, float | np.floating):
        yield path, _number(float(value))
    elif isinstance(value, np.integer | np.bool_):
        yield path, value.item()
    elif isinstance(value, Path):
        yield path, value.name
    elif isinstance(value, trimesh.Trimesh):
        yield from _walk(f"{path}.vertices", np.asarray(value.vertices))
        yield from _walk(f"{path}.faces", np.asarray(value.faces))
    elif isinstance(value, np.ndarray):
        yield from _array(path, value)
    elif is_dataclass(value):
        names = [one.name for one in fields(value)]
        yield from _walk(path, {name: getattr(value, name) for name in names})
    elif isinstance(value, Mapping):
        for name, one in value.items():
            if str(name) not in LEFT_OUT:
                yield from _walk(f"{path}.{name}" if path else str(name), one)
    elif isinstance(value, list | tuple):
        if not value:
            yield path, "none"
        if len(value) > _ROWS and (columns := _columns(value)):
            yield f"{path}.rows", len(value)
            yield from _walk(path, columns)
            return
        for number, one in enumerate(value):
            yield from _walk(f"{path}[{number}]", one)


def _columns(rows: list[Any] | tuple[Any, ...]) -> dict[str, Any]:
    """Columns of a list of alike things: a long one is told by few numbers and a line of words."""
    tables = [dict(_walk("", one)) for one in rows]
    if not all(table.keys() == tables[0].keys() for table in tables) or "" in tables[0]:
        return {}
    found: dict[str, Any] = {}
    for name in tables[0]:
        cells = [table[name] for table in tables]
        numbers = all(type(cell) in (int, float) for cell in cells)
        found[name] = np.array(cells, float) if numbers else " | ".join(map(_word, cells))
    return found


def _word(cell: Any) -> str:
    return f"{cell:.5g}" if isinstance(cell, float) else str(cell)


def _array(path: str, values: np.ndarray[Any, Any]) -> Iterator[tuple[str, Any]]:
    if values.size <= _LISTED:
        yield from _walk(path, values.tolist())
        return
    yield f"{path}.shape", "x".join(map(str, values.shape))
    numbers = values.astype(np.float64).ravel()
    known = np.isfinite(numbers)
    yield f"{path}.known", int(known.sum())
    numbers = np.where(known, numbers, 0.0)
    # Weights that no symmetry of a part cancels, so that an order or a sign shows too.
    weights = np.cos(0.7 * np.arange(len(numbers)) + 0.3)
    scale = max(float(np.abs(numbers).mean()), 1e-300)
    yield f"{path}.mean of sizes", _number(float(np.abs(numbers).mean()))
    yield f"{path}.mean", _number(float(numbers.mean()))
    yield f"{path}.weighted", _number(float((weights * numbers).mean()) / scale)
    yield f"{path}.least", _number(float(numbers.min()))
    yield f"{path}.largest", _number(float(numbers.max()))


def _number(value: float) -> float | str:
    return float(f"{value:.9g}") if math.isfinite(value) else str(value)


def read_flat(path: Path) -> Flat:
    """A table that was written before."""
    return dict(json.loads(path.read_text(encoding="utf-8")))


def write_flat(path: Path, table: Flat) -> None:
    """Write a table, a line for each word and number."""
    path.write_text(json.dumps(table, indent=0, ensure_ascii=False) + "\n", encoding="utf-8")


def differences(now: Flat, approved: Flat) -> list[str]:
    """What differs, in words."""
    found = [f"{name}: is gone" for name in approved if name not in now]
    found += [f"{name}: is new" for name in now if name not in approved]
    for name in approved.keys() & now.keys():
        was, will = approved[name], now[name]
        both = type(was) in (int, float) and type(will) in (int, float)
        if both and float in (type(was), type(will)):
            if abs(will - was) > max(ABSOLUTE, RELATIVE * max(abs(will), abs(was))):
                found.append(f"{name}: {was} before, {will} now")
        elif was != will or type(was) is not type(will):
            found.append(f"{name}: {was!r} before, {will!r} now")
    return sorted(found)
