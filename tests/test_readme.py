"""The commands of README and docs run as they stand there; their Python blocks run as doctests.

Those of docs/calibration.md and docs/walk-through.md build on each other and run in
test_walk_through.py.
"""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

import pytest

from shrinkrule.cli import main
from shrinkrule.settings import read_settings

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]


def blocks(page: Path, language: str) -> list[str]:
    """Blocks of a page in one language."""
    return re.findall(rf"```{language}\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL)


COMMANDS = [
    line
    for page in PAGES
    if page.name not in {"calibration.md", "walk-through.md"}
    for block in blocks(page, "sh")
    for line in block.splitlines()
    if line.startswith("shrinkrule ")
]
STATED = [block for page in PAGES for block in blocks(page, "toml")]


def test_there_are_commands() -> None:
    assert len(COMMANDS) >= 15
    assert STATED


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_of_readme_and_docs_runs(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "sample_models").symlink_to(ROOT / "sample_models")
    monkeypatch.chdir(tmp_path)
    assert main(shlex.split(command)[1:]) == 0


@pytest.mark.parametrize("stated", STATED)
def test_every_settings_file_of_readme_and_docs_is_one(stated: str, tmp_path: Path) -> None:
    path = tmp_path / "shrinkrule.toml"
    path.write_text(stated, encoding="utf-8")
    assert read_settings(path).values


def test_the_install_makes_the_command_known_before_it_is_used() -> None:
    """In a shell that stops at the first error, as the first lines are typed."""
    lines = blocks(ROOT / "README.md", "sh")[0].splitlines()
    assert lines[:3] == [
        "python3 -m venv .venv",
        ". .venv/bin/activate",
        "pip install --quiet .",
    ]
    assert lines[3].startswith("shrinkrule ")


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
