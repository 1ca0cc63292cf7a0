"""A command loads what it needs, and late modules work like any other once they are needed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh

from shrinkrule import stl_bytes
from shrinkrule.cli import one_thread_of_algebra


@pytest.fixture
def sample(tmp_path: Path) -> str:
    path = tmp_path / "plate.stl"
    path.write_bytes(stl_bytes(trimesh.creation.box((12.0, 8.0, 3.0)), "plate"))
    return str(path)


def loaded_by(*arguments: str) -> set[str]:
    """Modules whose code has run after a command, in a process of its own."""
    script = (
        "import sys\n"
        "from shrinkrule.cli import late, main\n"
        "late.load_late()\n"
        "code = main(sys.argv[1:])\n"
        "assert code == 0, code\n"
        "run = [n for n, m in sys.modules.items() if not isinstance(m, late.LateModule)]\n"
        "sys.stderr.write('LOADED ' + ' '.join(run))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *arguments], capture_output=True, text=True, check=True
    )
    return set(done.stderr.rpartition("LOADED ")[2].split())


def test_help_loads_no_numbers() -> None:
    """Start-up stays short, and what numpy reads from the environment can still be set."""
    heavy = {"numpy", "scipy", "trimesh", "igl", "rich.progress", "pydantic", "jinja2"}
    assert not loaded_by("--help") & heavy


def test_algebra_keeps_to_one_thread_unless_the_caller_said_otherwise(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    one_thread_of_algebra()
    assert os.environ["OPENBLAS_NUM_THREADS"] == "1"
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "3")
    one_thread_of_algebra()
    assert os.environ["OPENBLAS_NUM_THREADS"] == "3"


def test_a_row_needs_no_solver_and_no_plots(sample: str, tmp_path: Path) -> None:
    loaded = loaded_by(
        "compensate", sample, "--demo-table", "--no-sag", "--out", str(tmp_path), "--json"
    )
    unwanted = {
        "scipy.stats",
        "scipy.optimize",
        "matplotlib",
        "networkx",
        "shrinkrule.calibration.fit",
        "shrinkrule.sag",
    }
    assert not loaded & unwanted


def test_walls_need_neither_table_nor_page(sample: str, tmp_path: Path) -> None:
    loaded = loaded_by("walls", sample, "--out", str(tmp_path), "--json")
    unwanted = {
        "shrinkrule.calibration.table.read",
        "shrinkrule.sag",
        "jinja2",
        "matplotlib",
        "networkx",
    }
    assert not loaded & unwanted


USES = (
    "import networkx; assert networkx.Graph([(0, 1)]).number_of_edges() == 1",
    "from networkx import Graph; assert Graph([(0, 1)]).number_of_edges() == 1",
    "import networkx.algorithms as a; assert a.is_connected",
    "from scipy.optimize import brentq; assert abs(brentq(lambda x: x - 2, 0, 5) - 2) < 1e-9",
    "import scipy; assert scipy.optimize.brentq",
    "import scipy.ndimage as n; assert n.label([1, 0, 1])[1] == 2",
    "import trimesh; assert trimesh.repair.fix_normals; assert trimesh.voxel.VoxelGrid",
    "import numpy; numpy.testing.assert_allclose(1.0, 1.0)",
    "import trimesh; b = trimesh.creation.icosphere(); assert b.bounding_sphere.volume > 4",
)
IN_CHILDREN = """
import os, sys
from shrinkrule.cli import late
late.load_late()
import trimesh
for number, use in enumerate(sys.argv[1:]):
    child = os.fork()
    if child == 0:
        try:
            exec(use, {})
        except BaseException as error:
            print(number, repr(error), flush=True)
            os._exit(1)
        os._exit(0)
    print(number, os.waitpid(child, 0)[1], flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="there is no fork")
def test_a_late_module_works_when_it_is_needed() -> None:
    """Each in a process in which it is the first that is needed."""
    done = subprocess.run(
        [sys.executable, "-c", IN_CHILDREN, *USES], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines() == [f"{number} 0" for number in range(len(USES))]


def test_importing_the_library_puts_nothing_off() -> None:
    script = "import sys, shrinkrule, shrinkrule.cli; assert 'Late' not in str(sys.meta_path)"
    subprocess.run([sys.executable, "-c", script], check=True)
