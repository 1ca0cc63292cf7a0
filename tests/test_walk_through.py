"""The commands of the calibration's walk-through run in order, in one folder."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from shrinkrule import demo_table, read_table
from shrinkrule.cli import main

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "docs" / "calibration.md").read_text(encoding="utf-8")
COMMANDS = [
    line
    for block in re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL)
    for line in block.splitlines()
    if line.startswith("shrinkrule ")
]


def test_from_coupon_to_compensated_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "sample_models").symlink_to(ROOT / "sample_models")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    assert [shlex.split(command)[1] for command in COMMANDS] == [
        "coupon",
        "calibrate",
        "rows",
        "compensate",
    ]
    for command in COMMANDS:
        assert main(shlex.split(command)[1:]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    sentence = re.search(r"> (Your next .*?)\n\n", PAGE, re.DOTALL)
    assert sentence is not None
    assert " ".join(sentence[1].replace("\n>", " ").split()) in shown, "the page quotes the screen"
    (row,) = read_table("table.csv")
    assert row.material == demo_table()[0].material
    assert (tmp_path / "lever_arm.green.stl").stat().st_size > 84
