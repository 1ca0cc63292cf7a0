"""Every test has a user of its own, who has stated nothing, and algebra on one thread.

Processes that a test starts run the code under test, whatever else is installed, and find the loops
that are compiled already.

Drawn examples are the same on every run, so that a change is judged by the change; with
SHRINKRULE_MANY_SEEDS they are drawn anew.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

import shrinkrule
from seeds import many_seeds
from shrinkrule.cli import one_thread_of_algebra

one_thread_of_algebra()  # as the command does; before any test imports numpy
_source = str(Path(shrinkrule.__file__).parents[1])
os.environ["PYTHONPATH"] = os.pathsep.join(
    [_source, *os.environ.get("PYTHONPATH", "").split(os.pathsep)]
).strip(os.pathsep)
settings.register_profile("drawn anew")
settings.register_profile("the same", derandomize=True)
settings.load_profile("drawn anew" if many_seeds() else "the same")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the fits half-way, where the second of two processes begins.

    They need few compiled loops: the first process compiles them meanwhile, and not both at once.
    """
    fits = [item for item in items if "tests/calibration/" in item.nodeid]
    others = [item for item in items if "tests/calibration/" not in item.nodeid]
    half = len(items) // 2
    items[:] = [*others[:half], *fits, *others[half:]]


@pytest.fixture(autouse=True, scope="session")
def alike_once() -> Iterator[None]:
    """Wall checks and pictures that tests ask for alike are made once."""
    from once import do_once

    with pytest.MonkeyPatch.context() as patch:
        do_once(patch)
        yield


@pytest.fixture(scope="session")
def users(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder for each test: numbered here, for pytest counts all that there are for each."""
    folder = tmp_path_factory.mktemp("users")
    return (folder / str(number) for number in itertools.count())


@pytest.fixture(autouse=True)
def no_settings_of_the_user(users: Iterator[Path], monkeypatch: pytest.MonkeyPatch) -> Path:
    """Folder of the user's settings, empty; processes that a test starts see it too."""
    folder = next(users)
    folder.mkdir()
    monkeypatch.setenv("XDG_CONFIG_HOME", str(folder))
    return folder
