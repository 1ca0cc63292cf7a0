"""The sample files are what their script makes."""

from __future__ import annotations

from pathlib import Path

import make_samples
import pytest
import trimesh

from shrinkrule import read_part

FOLDER = Path(__file__).parent.parent / "sample_models"


@pytest.mark.parametrize("name", make_samples.SAMPLES)
def test_the_file_is_what_the_script_makes(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(make_samples.file_bytes(name))
    made, kept = read_part(path), read_part(FOLDER / name)
    # Another release of the solid modeller may cut facets differently, not the solid.
    assert kept.soundness.volume_mm3 == pytest.approx(made.soundness.volume_mm3, rel=1e-5)
    assert kept.mesh.extents == pytest.approx(made.mesh.extents, rel=1e-5)


@pytest.mark.parametrize("name", make_samples.SAMPLES)
def test_another_library_finds_it_sound(name: str) -> None:
    assert trimesh.load(FOLDER / name).is_watertight
