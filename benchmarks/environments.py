"""Commands where a workshop's machine is odd: pipes for files, full disks, no rights, no home.

Run ``python benchmarks/environments.py [--only WORD ...]``. Each case is one line of a shell in a
folder of its own. Afterwards: an exit code of ours, no traceback, at most one line of refusal,
every file with a final name whole, no input changed, no temporary file left, and an end in time.
The answers are printed; exit code 1 if anything of that fails. Cases of rights need root, which
then becomes a plain user.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import kills
import trimesh

from shrinkrule import read_table, stl_bytes

ROOT: Final = Path(__file__).parent.parent
RUN: Final = f"{sys.executable} -P -m shrinkrule"
ROW: Final = "--table table.csv --row 'bronze demo batch 90'"
PATIENCE_S: Final = 90.0
PLAIN_USER: Final = "setpriv --reuid=65534 --regid=65534 --clear-groups"

COMMANDS: Final = {
    "compensate": f"compensate block.stl {ROW} --no-sag --force",
    "walls": "walls block.green.stl",
    "ways-up": f"ways-up block.stl {ROW}",
    "dimensions": "dimensions block.stl",
    "coupon": "coupon --box 80x60x50 --few-readings --force",
    "calibrate": "calibrate sheet.csv --table table.csv --row new --yes",
    "traveler": "traveler block.report.json --force",
    "review": "review load.csv --table table.csv",
    "history": "history --table table.csv --page",
    "settings": "settings",
    "rows": "rows table.csv",
}
WRITERS: Final = tuple(name for name in COMMANDS if name not in ("settings", "rows"))


@dataclass(frozen=True)
class Case:
    """One line of a shell; ``refused`` says whether it must be, None if either will do."""

    what: str
    line: str
    refused: bool | None = None
    root: bool = False


def _with(command: str, more: str = "") -> str:
    return f"{RUN} {COMMANDS[command]} {more}"


def _odd_files() -> list[Case]:
    """Each file that is read, in turn a pipe, a folder, a device, nobody's."""
    slots = {
        "model": ("block.stl", ("compensate", "walls-model", "dimensions", "ways-up")),
        "table": ("table.csv", ("compensate", "rows", "calibrate", "review", "history")),
        "sheet": ("sheet.csv", ("calibrate",)),
        "load": ("load.csv", ("review",)),
        "report": ("block.report.json", ("traveler", "compensate")),
        "green": ("block.green.stl", ("traveler", "compensate")),
        "limits": ("limits.csv", ("dimensions-limits",)),
        "settings": ("shrinkrule.toml", ("settings", "dimensions")),
        "history": ("table.history.jsonl", ("history", "compensate")),
        "lock": (".table.csv.lock", ("calibrate", "compensate")),
        "of": ("other", ("history-of",)),
    }
    extra = {
        "walls-model": "walls block.stl",
        "dimensions-limits": f"dimensions block.stl {ROW} --dimensions limits.csv",
        "history-of": "history --table table.csv --of other",
    }
    made = {
        "a pipe": "mkfifo {0}",
        "a folder": "mkdir {0}",
        "a link to /dev/null": "ln -s /dev/null {0}",
        "a link to /dev/zero": "ln -s /dev/zero {0}",
        "a link to itself": "ln -s {0} {0}",
        "a socket": f"{sys.executable} -c 'import socket; socket.socket(1).bind(\"{{0}}\")'",
        "a standard input of text": "ln -s /dev/stdin {0}",
    }
    cases = []
    for slot, (name, users) in slots.items():
        for kind, make in made.items():
            for user in users:
                argv = extra.get(user) or COMMANDS[user]
                line = f"rm -f {name}; {make.format(name)} && echo text | {RUN} {argv} --out out"
                line = line.replace("--out out", "") if user in ("settings", "rows") else line
                cases.append(Case(f"{slot} is {kind}: {user}", line))
    return cases


def _streams() -> list[Case]:
    cases = []
    for name in COMMANDS:
        cases += [
            Case(f"screen full: {name}", f"{_with(name)} >/dev/full", True),
            Case(f"screen cut: {name}", f"{_with(name)} | head -1"),
            Case(f"screen cut at once: {name}", f"{_with(name)} | true"),
            Case(f"errors closed: {name}", f"{_with(name)} 2>&-", False),
            Case(f"all closed: {name}", f"{_with(name)} <&- >&- 2>&-", False),
        ]
        if name not in ("coupon",):
            cases.append(Case(f"JSON full: {name}", f"{_with(name)} --json >/dev/full", True))
    return cases


def _outputs() -> list[Case]:
    cases = []
    for name in WRITERS:
        cases += [
            Case(f"--out /dev/full: {name}", _with(name, "--out /dev/full"), True),
            Case(f"--out in a file: {name}", _with(name, "--out block.stl/x"), True),
            Case(f"--out to be made: {name}", _with(name, "--out a/b/c"), False),
            Case(
                f"--out a small disk: {name}",
                "mkdir small && mount -t tmpfs -o size=8k none small && "
                f"( {_with(name, '--out small')}; code=$?; umount small; exit $code )",
                None,
                root=True,
            ),
            Case(f"ulimit -f 1: {name}", f"ulimit -f 1; {_with(name, '--out out')}", None),
            Case(f"ulimit -n 12: {name}", f"ulimit -n 12; {_with(name, '--out out')}", None),
            Case(f"ulimit -v 900000: {name}", f"ulimit -v 900000; {_with(name, '--out out')}"),
            Case(
                f"folder without rights: {name}",
                f"mkdir out && chmod 555 out && {PLAIN_USER} {_with(name, '--out out')}",
                True,
                root=True,
            ),
            Case(
                f"read-only results: {name}",
                f"{_with(name, '--out out')} >first && chmod 444 out/* && {PLAIN_USER} "
                f"{_with(name, '--out out')}",
                None,
                root=True,
            ),
            Case(
                f"inputs that may not be read: {name}",
                f"chmod 600 * && {PLAIN_USER} {_with(name, '--out out')}",
                None,
                root=True,
            ),
        ]
    cases += [
        Case(
            "result a link to the model",
            "ln -s block.stl x; mkdir out; ln -s ../block.stl "
            f"out/block.green.stl; {_with('compensate', '--out out')}",
            True,
        ),
        Case(
            "result a hard link to the model",
            f"mkdir out; ln block.stl out/block.green.stl; {_with('compensate', '--out out')}",
            True,
        ),
        Case(
            "result a folder",
            f"mkdir -p out/block.green.stl; {_with('compensate', '--out out')}",
            True,
        ),
        Case(
            "result a pipe",
            "mkdir out; mkfifo out/block.green.stl out/block.report.json; "
            f"{_with('compensate', '--out out')}",
            None,
        ),
        Case(
            "report a pipe",
            f"rm block.report.json; mkfifo block.report.json; {_with('compensate')}",
            None,
        ),
        Case(
            "result a link into nowhere",
            f"mkdir out; ln -s /none/there out/block.green.stl; {_with('compensate', '--out out')}",
            None,
        ),
        Case(
            "table a link",
            "mkdir there; mv table.csv there/; ln -s there/table.csv table.csv; "
            f"{_with('calibrate')} && test -L table.csv && grep -q '^new,' there/table.csv",
            False,
        ),
        Case("table a hard link", f"ln table.csv other.csv; {_with('calibrate')}", None),
        Case(
            "list is the model",
            f"cp block.stl block.dimensions.csv; {RUN} dimensions block.dimensions.csv",
            None,
        ),
        Case("out is the page of a fit", f"mkdir new.fit.html; {_with('calibrate')}", True),
    ]
    return cases


def _surroundings() -> list[Case]:
    settings = {
        "HOME unset": "env -u HOME -u XDG_CONFIG_HOME",
        "HOME that is not there": "env -u XDG_CONFIG_HOME HOME=/none/there",
        "HOME a file": "env -u XDG_CONFIG_HOME HOME=/etc/passwd",
        "HOME is empty": "env -u XDG_CONFIG_HOME HOME=",
        "TMPDIR that is not there": "env TMPDIR=/none/there",
        "letters of ASCII": "env LC_ALL=C PYTHONIOENCODING=ascii PYTHONUTF8=0 "
        "PYTHONCOERCECLOCALE=0",
        "20 columns": "env COLUMNS=20",
        "no columns, no colours": "env COLUMNS=x LINES=0 TERM=dumb NO_COLOR=1",
        "TERM unset": "env -u TERM FORCE_COLOR=1",
        "year 1970": "FAKE 0",
        "year 2106": "FAKE 4294967296",
    }
    cases = []
    for what, words in settings.items():
        for name in COMMANDS:
            line = _with(name)
            if words.startswith("FAKE"):
                stamp = words.split()[1]
                line = line.replace(RUN, f"{sys.executable} ../clock.py {stamp}", 1)
                cases.append(Case(f"{what}: {name}", line, False))
            else:
                cases.append(Case(f"{what}: {name}", f"{words} {line}", False))
    for name in COMMANDS:
        cases.append(
            Case(
                f"folder deleted: {name}",
                f"mkdir d; cd d; rmdir ../d; {_with(name)}",
                None if name in ("settings", "coupon") else True,
            )
        )
        cases.append(
            Case(
                f"plain user, nothing may be kept: {name}",
                f"chmod -R a+rwX . && env HOME=/none {PLAIN_USER} {_with(name)}",
                False,
                root=True,
            )
        )
    return cases


def _names() -> list[Case]:
    long = "n" * 251 + ".stl"
    line = '"$(printf "new\\nline.stl")"'
    odd = {
        "255 bytes": long,
        "a new line": line,
        "a leading dash": "-- -dash.stl",
        "one of 230 bytes": "n" * 226 + ".stl",
        "256 bytes": "n" * 252 + ".stl",
        "no UTF-8": '"$(printf "\\377x.stl")"',
        "only an ending": ".stl",
        "a dot": ".",
        "a percent and quotes": '"a%s\'{0}.stl"',
        "a tilde": "'~x.stl'",
        "an empty name": "''",
    }
    cases = []
    for what, name in odd.items():
        for verb in ("compensate --scale-xy 1.17 --scale-z 1.19 --no-sag", "walls", "dimensions"):
            copy = f"cp block.stl {name.replace('-- ', './')} 2>/dev/null;"
            cases.append(
                Case(
                    f"a model called {what}: {verb.split()[0]}",
                    f"{copy} {RUN} {verb} --out out {name}",
                )
            )
    cases += [
        Case(
            "a table called a new line",
            f"mv table.csv {line}; {RUN} rows {line}; code=$?; mv {line} table.csv; exit $code",
        ),
        Case(
            "a row called a new line",
            f"{RUN} calibrate sheet.csv --table table.csv --yes --row {line}",
        ),
        Case(
            "a row of 300 letters",
            f"{RUN} calibrate sheet.csv --table table.csv --yes --row {'r' * 300}",
        ),
        Case("--out with a null", f"{RUN} dimensions block.stl --out {'o' * 300}", True),
        Case("--out of 5000 bytes", f"{RUN} dimensions block.stl --out {'o/' * 2500}", True),
    ]
    return cases


def _two_at_once() -> list[Case]:
    rows = " ".join(
        f"{RUN} calibrate sheet.csv --table table.csv --row pair{k} --yes --out out{k} >said{k} &"
        for k in range(2)
    )
    both = f"{rows} wait; grep -q '^pair0,' table.csv && grep -q '^pair1,' table.csv"
    twice = f"{_with('compensate', '--out o >said1')} & {_with('compensate', '--out o >said2')}"
    return [
        *(Case(f"two calibrates at once, {number}", both, False) for number in range(20)),
        *(
            Case(f"two compensates at once, {number}", f"{twice}; code=$?; wait; exit $code")
            for number in range(3)
        ),
    ]


def every_case() -> list[Case]:
    """All cases, in the order in which they are told."""
    return [*_names(), *_odd_files(), *_streams(), *_outputs(), *_surroundings(), *_two_at_once()]


def prepare(folder: Path) -> None:
    """Put into a folder what the commands read."""
    box = trimesh.creation.box(bounds=((0.0, 0.0, 0.0), (30.0, 18.0, 9.0)))
    (folder / "block.stl").write_bytes(stl_bytes(box, "block"))
    demo = ROOT / "src" / "shrinkrule" / "data" / "demo_table.csv"
    shutil.copy(demo, folder / "table.csv")
    shutil.copy(kills.SHEETS[0], folder / "sheet.csv")
    seeds = ROOT / "tests" / "fuzz_seeds"
    shutil.copy(seeds / "load" / "block.csv", folder / "load.csv")
    shutil.copy(seeds / "limits" / "block.csv", folder / "limits.csv")
    (folder / "shrinkrule.toml").write_text("[printer]\nnozzle = 0.6\n")
    subprocess.run(
        ["/bin/sh", "-c", _with("compensate")],
        cwd=folder,
        check=True,
        timeout=300,
        capture_output=True,
    )


CLOCK: Final = """
import sys, time
stamp = float(sys.argv.pop(1))
time.time = lambda: stamp
import datetime
class Fixed(datetime.datetime):
    @classmethod
    def now(cls, tz=None):
        return cls.fromtimestamp(stamp, tz)
class Day(datetime.date):
    @classmethod
    def today(cls):
        return cls.fromtimestamp(stamp)
datetime.datetime, datetime.date = Fixed, Day
sys.argv[0] = "shrinkrule"
from shrinkrule.cli import run
run()
"""


def judge(case: Case, ready: Path, scratch: Path) -> tuple[str, list[str]]:
    """Run a case; what it answered, and what was wrong."""
    folder = scratch / "case"
    shutil.copytree(ready, folder, symlinks=True)
    before = {p.name: _sum(p) for p in folder.iterdir() if p.name in INPUTS}
    start = time.monotonic()
    with subprocess.Popen(
        ["/bin/sh", "-c", case.line],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        start_new_session=True,
    ) as run:
        hung = False
        try:
            _, errors = run.communicate(timeout=PATIENCE_S)
        except subprocess.TimeoutExpired:
            hung = True
            os.killpg(run.pid, signal.SIGKILL)
            _, errors = run.communicate()
    code, text = run.returncode, errors.decode("utf-8", "replace")
    # Remarks may stand above it.
    wrong = ["it hung"] if hung else []
    wrong += ["traceback"] if "Traceback" in text or "Exception ignored" in text else []
    if code not in (0, 1, 2):
        wrong.append(f"exit code {code}")
    if case.refused is not None and (code == 2) != case.refused:
        wrong.append("refused" if code == 2 else f"not refused (exit code {code})")
    if code == 2 and "2>&-" not in case.line and not text.strip():
        wrong.append("no word of why")
    if code == 2 and text.count("shrinkrule: ") != 1 and "Usage" not in text and text.strip():
        wrong.append("not one line of ours")
    wrong += _left(folder, before, case.line)
    shutil.rmtree(folder)
    last = next((t for t in reversed(text.splitlines()) if t.strip()), "")
    return f"{code} in {time.monotonic() - start:.1f} s: {last[:400]}", wrong


INPUTS: Final = ("block.stl", "sheet.csv", "load.csv", "limits.csv", "shrinkrule.toml")


def _sum(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _left(folder: Path, before: dict[str, str], line: str) -> list[str]:
    """What is wrong in the folder after a run."""
    wrong = []
    for path in sorted(folder.rglob("*")):
        if path.is_symlink() or not path.is_file():
            continue
        if path.name.startswith(".shrinkrule-"):
            wrong.append(f"{path.name} is left")
        elif path.name in before and path.parent == folder:
            if _sum(path) != before[path.name]:
                wrong.append(f"{path.name} was changed")
        elif path.suffix in (".html", ".json", ".stl", ".ply", ".glb") and (
            why := kills._not_whole(path)
        ):
            wrong.append(f"{path.name}: {why}")
    table = folder / "table.csv"
    if table.is_file() and "table.csv;" not in line:
        try:
            if "bronze demo batch 90" not in {row.name for row in read_table(table)}:
                wrong.append("a row is gone")
        except Exception as error:  # noqa: BLE001 - whatever is wrong with it is told
            wrong.append(f"the table cannot be read: {error}")
    return wrong


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="+", default=[""], help="words of the cases")
    asked = parser.parse_args()
    cases = [case for case in every_case() if any(word in case.what for word in asked.only)]
    if os.geteuid():
        cases = [case for case in cases if not case.root]
    faults = 0
    with tempfile.TemporaryDirectory() as place:
        Path(place).chmod(0o755)
        (Path(place) / "clock.py").write_text(CLOCK)
        base = Path(place) / "base"
        base.mkdir()
        prepare(base)
        for case in cases:
            answer, wrong = judge(case, base, Path(place))
            faults += bool(wrong)
            print(f"{'WRONG ' if wrong else ''}{case.what}: {answer}", flush=True)
            for text in wrong:
                print(f"    {text}", flush=True)
    print(f"{len(cases)} cases, {faults} with a fault")
    sys.exit(bool(faults))
