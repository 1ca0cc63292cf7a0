"""The README's commands run as they stand there; its Python block runs as a doctest."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

import pytest

from shrinkrule.cli import main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = [
    line
    for block in re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    for line in block.splitlines()
    if line.startswith("shrinkrule ")
]


def test_there_are_commands() -> None:
    assert len(COMMANDS) >= 5


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_of_the_readme_runs(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "sample_models").symlink_to(ROOT / "sample_models")
    monkeypatch.chdir(tmp_path)
    assert main(shlex.split(command)[1:]) == 0


def test_the_first_command_is_the_main_job() -> None:
    first = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)[0]
    assert "shrinkrule compensate sample_models/" in first
    assert "--demo-table" in first


def test_links_lead_somewhere() -> None:
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md")]
    for page in pages:
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"


def test_python_is_new_enough() -> None:
    assert sys.version_info >= (3, 11)
