"""Bodies made one: what was said of them before no longer holds."""

from __future__ import annotations

from pathlib import Path

import trimesh

from shrinkrule.files.stl import stl_bytes
from shrinkrule.mesh import read_part
from walls.shapes import box


def test_a_united_part_is_no_longer_said_to_share_space(tmp_path: Path) -> None:
    """Two cubes of 10 mm that share a quarter: 2000 - 250 mm3 are left."""
    pair = trimesh.util.concatenate(
        [box(10.0, 10.0, 10.0), box(10.0, 10.0, 10.0).apply_translation((5.0, 5.0, 0.0))]
    )
    (tmp_path / "pair.stl").write_bytes(stl_bytes(pair, "pair"))
    part = read_part(tmp_path / "pair.stl")
    assert any("share space" in text for text in part.warnings)
    one = part.united()
    assert not any("share space" in text for text in one.warnings)
    assert one.trusted
    assert abs(one.soundness.volume_mm3 - 1750.0) < 1e-3
