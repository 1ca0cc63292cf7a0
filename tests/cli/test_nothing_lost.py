"""Results of another recipe, green parts, interruptions: nothing is lost without being asked."""

from __future__ import annotations

import hashlib
import io
import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from unittest.mock import Mock

import pytest
import trimesh

from shrinkrule import read_part, stl_bytes
from shrinkrule.cli import main

HAND = ["--scale-xy", "1.17", "--scale-z", "1.19"]
FILES = ("box.green.stl", "box.report.json", "box.report.html")


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    (tmp_path / "box.stl").write_bytes(stl_bytes(trimesh.creation.box((30, 20, 5)), "box"))
    return tmp_path


def contents() -> dict[str, bytes]:
    return {name: Path(name).read_bytes() for name in FILES}


def test_another_recipe_is_asked_about_and_the_same_is_not(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compensate", "box.stl", *HAND]) == 0
    before = contents()
    for other in (
        [*HAND, "--nozzle", "0.8"],
        ["--demo-table"],
        ["--scale-xy", "1.17", "--scale-z", "1.2"],
        [*HAND, "--print-up", "x"],
    ):
        capsys.readouterr()
        assert main(["compensate", "box.stl", *other]) == 2
        error = capsys.readouterr().err
        assert "box.green.stl holds the result of another recipe" in error
        assert "--force" in error
        assert contents() == before
    assert "way up: z" in error
    assert main(["compensate", "box.stl", *HAND]) == 0
    assert contents()["box.green.stl"] == before["box.green.stl"]
    monkeypatch.setattr("sys.stdin", io.StringIO("y\n"))
    assert main(["compensate", "box.stl", *HAND, "--nozzle", "0.8"]) == 0
    assert json.loads(contents()["box.report.json"])["recipe"]["nozzle"] == "0.8 mm"


def test_another_name_and_another_folder_leave_the_first(in_folder: Path) -> None:
    assert main(["compensate", "box.stl", *HAND]) == 0
    before = contents()
    assert main(["compensate", "box.stl", "--demo-table", "--name", "box bronze"]) == 0
    assert main(["compensate", "box.stl", "--demo-table", "--out", "new/folder"]) == 0
    assert contents() == before
    assert (in_folder / "box bronze.green.stl").exists()
    assert {path.name for path in (in_folder / "new" / "folder").iterdir()} == set(FILES)


def test_another_model_of_the_same_name_is_another_recipe(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A model that was changed, or one of that name in another folder, has another checksum."""
    assert main(["compensate", "box.stl", *HAND]) == 0
    before = contents()
    Path("other").mkdir()
    Path("other/box.stl").write_bytes(stl_bytes(trimesh.creation.box((30, 20, 6)), "box"))
    capsys.readouterr()
    assert main(["compensate", "other/box.stl", *HAND]) == 2
    assert "another recipe (SHA-256 of the model: " in capsys.readouterr().err
    assert contents() == before
    report = json.loads(before["box.report.json"])
    assert report["model"]["sha256"] == hashlib.sha256(Path("box.stl").read_bytes()).hexdigest()


def test_a_report_names_the_green_part_it_is_about(capsys: pytest.CaptureFixture[str]) -> None:
    """What a run killed between two renames leaves: new reports beside an older green part."""
    assert main(["compensate", "box.stl", *HAND]) == 0
    green = contents()["box.green.stl"]
    checksum = hashlib.sha256(green).hexdigest()
    assert json.loads(contents()["box.report.json"])["green_sha256"] == checksum
    assert checksum[:16] in contents()["box.report.html"].decode()
    Path("box.green.stl").write_bytes(green[:-1] + b"x")
    capsys.readouterr()
    assert main(["compensate", "box.stl", *HAND]) == 0
    assert "box.green.stl does not belong to the report there" in capsys.readouterr().err
    assert contents()["box.green.stl"] == green
    Path("box.green.stl").unlink()
    assert main(["compensate", "box.stl", *HAND]) == 0
    assert "box.green.stl is missing beside the report" in capsys.readouterr().err


@pytest.mark.parametrize("report", [None, b"no JSON", b"[]", b'{"recipe": 3}', b"{}"])
def test_a_result_that_does_not_say_its_recipe_is_asked_about(
    report: bytes | None, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("box.green.stl").write_bytes(b"of another program")
    if report is not None:
        Path("box.report.json").write_bytes(report)
    assert main(["compensate", "box.stl", *HAND]) == 2
    assert "whose recipe is not known" in capsys.readouterr().err
    assert Path("box.green.stl").read_bytes() == b"of another program"


def test_a_green_part_is_not_enlarged_twice_unasked(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compensate", "box.stl", *HAND]) == 0
    assert main(["compensate", "box.green.stl", *HAND]) == 2
    error = capsys.readouterr().err
    assert "a green part already" in error
    assert "--green-again" in error
    assert not Path("box.green.green.stl").exists()
    assert main(["walls", "box.green.stl"]) == 0
    assert main(["compensate", "box.green.stl", *HAND, "--green-again"]) == 0
    twice = read_part("box.green.green.stl").mesh.extents
    assert twice == pytest.approx([30 * 1.17**2, 20 * 1.17**2, 5 * 1.19**2], rel=1e-6)


def test_a_system_out_of_memory_or_threads_is_said_in_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for error, said in (
        (RuntimeError("can't start new thread"), "no more threads or memory; stopped, nothing was"),
        (MemoryError(), "not enough memory"),
    ):
        monkeypatch.setattr("shrinkrule.mesh.read_part", Mock(side_effect=error))
        assert main(["dimensions", "box.stl"]) == 2
        line = capsys.readouterr().err
        assert said in line
        assert line.count("\n") == 1
    monkeypatch.setattr("shrinkrule.mesh.read_part", Mock(side_effect=RuntimeError("a mistake")))
    with pytest.raises(RuntimeError, match="a mistake"):
        main(["dimensions", "box.stl"])


SLOW = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored where tests run in background
import shrinkrule.job.run
from shrinkrule.cli import main
from shrinkrule.files.output import OutputSet
{late}
sys.exit(main(["compensate", "box.stl", "--scale-xy", "1.17", "--scale-z", "1.19"]))
"""
BEFORE = """
def write(self):
    print("now", flush=True)
    time.sleep(60)
OutputSet.write = write
"""
AFTER = """
import shrinkrule.report.console
def show_job(*_):
    print("now", flush=True)
    time.sleep(60)
import shrinkrule.report
shrinkrule.report.show_job = show_job
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals are another matter there")
@pytest.mark.parametrize(
    ("late", "said"),
    [(BEFORE, "stopped, nothing was written"), (AFTER, "written and whole: box.report.json, ")],
)
def test_a_stop_says_what_it_left(in_folder: Path, late: str, said: str) -> None:
    run = subprocess.Popen(
        [sys.executable, "-c", SLOW.format(late=late)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert run.stdout is not None
    assert run.stdout.readline() == "now\n"
    time.sleep(0.1)
    run.send_signal(signal.SIGINT)
    try:
        _, error = run.communicate(timeout=30)
    finally:
        run.kill()
        run.communicate()
    assert run.returncode == 130
    assert said in error
    assert error.count("\n") == 1
    left = {path.name for path in in_folder.iterdir()}
    assert left == {"box.stl"} | (set(FILES) if late is AFTER else set())


HEEDED = """
import signal, sys, time
# Where tests run in the background some are ignored from the start.
signal.signal(signal.SIGINT, signal.default_int_handler)
signal.signal(signal.SIGHUP, signal.SIG_DFL)
signal.signal(signal.SIGTERM, signal.SIG_DFL)
import shrinkrule.calibration
from shrinkrule.cli import run, stopping
stopping.IMPATIENT_S = {impatient}
def read_table(path):
    try:
        print("now", flush=True)
        time.sleep(60)
    finally:
        print("ending", flush=True)
        time.sleep({ending})
shrinkrule.calibration.read_table = read_table
sys.argv[1:] = ["rows", "table.csv"]
run()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals are another matter there")
@pytest.mark.parametrize(
    ("name", "times", "impatient", "code"),
    [
        ("SIGHUP", 1, 1.0, 129),
        ("SIGINT", 3, 60.0, 130),  # strokes of one key
        ("SIGTERM", 2, 0.0, 143),  # what does not end is ended
    ],
)
def test_each_signal_stops_a_command_in_order(
    name: str, times: int, impatient: float, code: int
) -> None:
    script = HEEDED.format(impatient=impatient, ending=0.3 if impatient else 60.0)
    with subprocess.Popen(
        [sys.executable, "-c", script], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == "now\n"
        run.send_signal(getattr(signal, name))
        assert run.stdout.readline() == "ending\n"
        for _ in range(times - 1):
            run.send_signal(getattr(signal, name))
        try:
            _, error = run.communicate(timeout=30)
        finally:
            run.kill()
    assert run.returncode == code
    assert error == ("shrinkrule: stopped, nothing was written\n" if impatient else "")
