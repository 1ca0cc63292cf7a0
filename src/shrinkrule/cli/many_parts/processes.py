"""A process for each part, within a stated memory, and what came of it.

Each part is handed to the command itself, so that what comes out is what it would be one by one.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

import typer

from shrinkrule.errors import FileError, SettingError
from shrinkrule.files.plain import real_path
from shrinkrule.numerics.progress import Progress

MODELS: Final = (".stl", ".3mf", ".obj", ".ply", ".off")
"""Endings of files that are taken out of a folder."""

_OURS: Final = (".green", ".walls")
"""What files of ours have before their ending: they are no models to compensate."""

PART_GB: Final = 0.5
"""Memory of one part without sag: 0.26 to 0.46 GB measured, the most for 17 bodies."""

UNKNOWNS_GB: Final = 1.4e-6
"""Memory of one unknown of a sag solve, GB."""

_FREE_GB: Final = 4.0
"""Taken to be free where the system does not say."""

_LOOK_S: Final = 0.1
"""Time between two looks at the processes."""


@dataclass(frozen=True)
class Outcome:
    """What came of one part.

    Parameters
    ----------
    model : Path
        The model.
    code : int
        Exit code of its command.
    report : dict or None
        Its report, as JSON has it; None where it failed.
    why : str
        Why it failed, or does not pass what was asked; else empty.
    """

    model: Path
    code: int
    report: dict[str, Any] | None
    why: str


@dataclass(frozen=True)
class _Running:
    model: Path
    process: subprocess.Popen[bytes]
    said: IO[bytes]
    refused: IO[bytes]


def models_in(paths: Sequence[Path]) -> tuple[Path, ...]:
    """Models out of files and folders, each once; a folder gives those that lie in it, by name.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders.

    Returns
    -------
    tuple of Path
        The models.

    Raises
    ------
    FileError
        For a folder without a model.
    SettingError
        If two models would write files of the same name.
    """
    found: dict[Path, Path] = {}
    for path in paths:
        inside = [path]
        if path.is_dir():
            inside = sorted((p for p in path.iterdir() if _is_model(p)), key=_by_name)
            if not inside:
                raise FileError(
                    "there is no model in this folder",
                    where=str(path),
                    hint="name a folder with STL or 3MF files in it",
                )
        for model in inside:
            found.setdefault(real_path(model), model)
    stems: dict[str, Path] = {}
    for model in found.values():
        stem = model.stem.casefold()
        if stem in stems:
            raise SettingError(
                f"{stems[stem]} and {model} would both write {model.stem}.green.stl",
                hint="take them one after the other into two folders, or rename one",
            )
        stems[stem] = model
    return tuple(found.values())


def _is_model(path: Path) -> bool:
    return (
        path.suffix.lower() in MODELS
        and not path.stem.endswith(_OURS)
        and not path.name.startswith(".")
        and path.is_file()
    )


def _by_name(path: Path) -> list[tuple[int, int, str]]:
    """Key that sorts part 2 before part 10."""
    pieces = re.split(r"(\d+)", path.name.casefold())
    return [(0, int(p), "") if p.isdigit() else (1, 0, p) for p in pieces]


def flags_of(context: typer.Context, left_out: Sequence[str]) -> list[str]:
    """Options of a command as they were given, to be given again.

    Parameters
    ----------
    context : typer.Context
        Of the command.
    left_out : sequence of str
        Names of parameters that are not handed on.

    Returns
    -------
    list of str
        Arguments.
    """
    flags = []
    for parameter in context.command.params:
        name = parameter.name or ""
        source = context.get_parameter_source(name)
        if name in left_out or parameter.param_type_name != "option":
            continue
        if source is None or source.name != "COMMANDLINE":
            continue
        value = context.params[name]
        if isinstance(value, bool):
            flags += [parameter.opts[0]] if value else []
        else:
            values = value if isinstance(value, list | tuple) else [value]
            long = max(parameter.opts, key=len)
            flags += [f"{long}={one}" for one in values]
    return flags


def free_gb() -> float:
    """Half of the memory that is free now, GB.

    Returns
    -------
    float
        At least what one part needs.
    """
    free = _FREE_GB
    with suppress(OSError, ValueError, AttributeError, IndexError):
        for line in Path("/proc/meminfo").read_text(encoding="ascii").splitlines():
            if line.startswith("MemAvailable:"):
                free = 1e-6 * float(line.split()[1])
    return max(0.5 * free, PART_GB)


def run_all(
    models: Sequence[Path],
    flags: Sequence[str],
    memory_gb: float,
    part_gb: float,
    progress: Progress,
) -> tuple[Outcome, ...]:
    """Compensate each model in a process of its own; one that fails leaves the others.

    Parameters
    ----------
    models : sequence of Path
        The models.
    flags : sequence of str
        Options for all of them.
    memory_gb : float
        Memory that all of them together may take; one that takes more by itself is ended.
    part_gb : float
        Memory that one is expected to take.
    progress : callable
        Told how many are done.

    Returns
    -------
    tuple of Outcome
        In the order of the models.
    """
    at_once = max(1, min(os.cpu_count() or 1, int(memory_gb / part_gb)))
    waiting, running = list(models), list[_Running]()
    done: dict[Path, Outcome] = {}
    try:
        while waiting or running:
            while waiting and len(running) < at_once:
                running.append(_started(waiting.pop(0), flags))
            time.sleep(_LOOK_S)
            for outcome in list(_ended(running, memory_gb)):
                done[outcome.model] = outcome
                progress(f"{len(done)} of {len(models)} parts", len(done) / len(models))
    finally:
        for left in running:
            left.process.kill()
            left.process.wait()
    return tuple(done[model] for model in models)


def _started(model: Path, flags: Sequence[str]) -> _Running:
    # -P: nothing is imported from the folder that the user works in.
    command = [sys.executable, "-P", "-m", "shrinkrule", "compensate", *flags, "--json", "--"]
    # Files and no pipes: a pipe that nobody reads would hold the process up.
    said, refused = (tempfile.TemporaryFile() for _ in range(2))  # noqa: SIM115
    process = subprocess.Popen(
        [*command, str(model)], stdin=subprocess.DEVNULL, stdout=said, stderr=refused
    )
    return _Running(model, process, said, refused)


def _ended(running: list[_Running], memory_gb: float) -> Iterator[Outcome]:
    """Take those out that have ended, or that take more than all may."""
    for one in list(running):
        too_much = one.process.poll() is None and _resident_gb(one.process.pid) > memory_gb
        if too_much:
            one.process.kill()
        elif one.process.returncode is None:
            continue
        running.remove(one)
        code = one.process.wait()
        said, refused = _text(one.said), _text(one.refused)
        yield _outcome(one.model, code, said, refused, memory_gb, too_much)


def _text(file: IO[bytes]) -> str:
    """What a process wrote into a file, which is closed then."""
    with file:
        file.seek(0)
        return file.read().decode(errors="replace")


def _outcome(
    model: Path, code: int, said: str, refused: str, memory_gb: float, too_much: bool
) -> Outcome:
    lines = refused.strip().splitlines()
    why = lines[-1].removeprefix("shrinkrule: ") if lines else ""
    if too_much:
        why = f"it takes more than {memory_gb:.2g} GB of memory; state more with --memory"
        return Outcome(model, 2, None, why)
    if code < 0:
        why = f"its process was ended from outside (signal {-code}); memory may have run out"
        return Outcome(model, 2, None, why)
    try:
        report: dict[str, Any] | None = json.loads(said)
    except json.JSONDecodeError:
        report = None
    return Outcome(model, code, report, why if code or report is None else "")


def _resident_gb(process: int) -> float:
    """Memory that a process takes now, GB; 0 where the system does not say."""
    with suppress(OSError, ValueError, IndexError):
        for line in Path(f"/proc/{process}/status").read_text(encoding="utf-8").splitlines():
            if line.startswith("VmRSS:"):
                return 1e-6 * float(line.split()[1])
    return 0.0
