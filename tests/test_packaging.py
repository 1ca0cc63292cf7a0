"""What the wheel must hold beside the modules: every data file of the package is named for it."""

from __future__ import annotations

import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "src" / "shrinkrule"


def test_every_file_of_the_package_goes_into_the_wheel() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = project["tool"]["setuptools"]["package-data"]["shrinkrule"]
    packed = {path for pattern in patterns for path in PACKAGE.glob(pattern)}
    data = {
        path
        for path in PACKAGE.rglob("*")
        if path.is_file() and path.suffix != ".py" and "__pycache__" not in path.parts
    }
    assert data
    assert data == {path for path in packed if path.is_file()}


def test_every_folder_of_modules_is_a_package() -> None:
    """A folder without ``__init__.py`` would be left out of the wheel without a word."""
    folders = {path.parent for path in PACKAGE.rglob("*.py")}
    assert all((folder / "__init__.py").exists() for folder in folders)
