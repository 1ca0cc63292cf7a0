"""Every key of the JSON that commands print, down to the second level, stands on the page."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from shrinkrule.cli import main as command

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "file-formats.md").read_text(encoding="utf-8")
KNOWN = set(re.findall(r"`([^`\n]+)`", PAGE))
PART = str(ROOT / "sample_models" / "thin_cup.stl")
SHEETS = sorted(str(path) for path in (ROOT / "sample_models" / "sheets").glob("*.csv"))


def keys(value: Any, levels: int) -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            if levels > 1:
                yield from keys(inner, levels - 1)
    elif isinstance(value, list):
        for inner in value:
            yield from keys(inner, levels)


def documented(key: str) -> bool:
    """Whether a key stands in code marks, also among the names of a table's columns."""
    return any(key in known.split() or key == known for known in KNOWN) or key in {
        *"xyz",
        "xy",
    }


@pytest.mark.parametrize(
    "arguments",
    [
        ("coupon", "--box", "80x60x50", "--few-readings"),
        ("calibrate", *SHEETS),
        ("rows",),
        ("settings",),
        ("compensate", PART, "--demo-table"),
        ("walls", PART),
    ],
    ids=lambda arguments: arguments[0],
)
def test_every_key_is_documented(
    arguments: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert command([*arguments, "--json"]) in {0, 1}
    printed = json.loads(capsys.readouterr().out)
    found = set(keys(printed, 2))
    assert len(found) > 3
    assert sorted(key for key in found if not documented(key)) == []


def test_a_key_that_nobody_wrote_down_is_noticed() -> None:
    assert not documented("half_of_a_key")
