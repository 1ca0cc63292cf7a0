"""Every test has a user of its own, who has stated nothing, and algebra on one thread."""

from __future__ import annotations

from pathlib import Path

import pytest

from shrinkrule.cli import one_thread_of_algebra

one_thread_of_algebra()  # as the command does; before any test imports numpy


@pytest.fixture(autouse=True)
def no_settings_of_the_user(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """Folder of the user's settings, empty; processes that a test starts see it too."""
    folder = tmp_path_factory.mktemp("user")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(folder))
    return folder
