"""The page on file formats names every code of a defect, and no other."""

from __future__ import annotations

import re
from pathlib import Path

from shrinkrule.mesh.defects import Code


def test_the_page_lists_every_code_once() -> None:
    page = Path(__file__).parents[2] / "docs" / "file-formats.md"
    table = page.read_text(encoding="utf-8").split("### Defects of a mesh")[1].split("\n\n")[2]
    listed = re.findall(r"^\| `([a-z-]+)`", table, re.MULTILINE)
    assert sorted(listed) == sorted(code.value for code in Code)
