"""STL as programs write it, in every dialect: the same box comes out, or one line says why not."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import numpy as np
import pytest
import trimesh

from shrinkrule.errors import FileError
from shrinkrule.files import stl_bytes, unpack
from shrinkrule.mesh import read_part

BOX = trimesh.creation.box((10.0, 20.0, 30.0)).apply_translation((0.5, 0.5, 0.5))
BINARY = stl_bytes(BOX, "a box")
TEXT = str(trimesh.exchange.stl.export_stl_ascii(BOX)).encode()
RECORDS = BINARY[84:]
ONE_LINE = b" ".join(TEXT.split())
FACETS = [facet + b"endfacet " for facet in ONE_LINE.split(b"endfacet ")[:-1]]
HALVES = (b"".join(FACETS[:6])[len(b"solid ") :], b"".join(FACETS[6:]))


def counted(count: int, records: bytes = RECORDS) -> bytes:
    return BINARY[:80] + count.to_bytes(4, "little") + records


def comma(text: bytes) -> bytes:
    return text.replace(b".", b",")


GOOD: dict[str, bytes] = {
    "newline behind": BINARY + b"\n",
    "byte behind": BINARY + b"\x07",
    "text behind": BINARY + b"made in a workshop",
    "long block behind": BINARY + b"colour table " * 40,
    "count nought": counted(0),
    "count all ones": counted(0xFFFFFFFF),
    "count too small": counted(5),
    "solid in the header": b"solid thing".ljust(80) + BINARY[80:],
    "colour bytes": b"COLOR=\xff\x80\x00\xff,MATERIAL=".ljust(80, b"\0")
    + (12).to_bytes(4, "little")
    + b"".join(RECORDS[i : i + 48] + b"\x1f\x80" for i in range(0, 600, 50)),
    "header of other letters": "Stück № 1".encode("utf-16").ljust(80, b"\0") + BINARY[80:],
    "carriage returns alone": TEXT.replace(b"\n", b"\r"),
    "both line ends": TEXT.replace(b"\n", b"\r\n"),
    "no endsolid": TEXT[: TEXT.rindex(b"endsolid")],
    "no endsolid, returns": TEXT[: TEXT.rindex(b"endsolid")].replace(b"\n", b"\r"),
    "capitals": TEXT.upper(),
    "tabs": TEXT.replace(b" ", b"\t"),
    "no name": b"solid\n" + TEXT.split(b"\n", 1)[1],
    "name with facet in it": b"solid my facet, vertex 1\n" + TEXT.split(b"\n", 1)[1],
    "name of Latin letters": b"solid St\xfcck\n" + TEXT.split(b"\n", 1)[1],
    "blank lines first": b"\n" * 700 + TEXT,
    "byte-order mark": b"\xef\xbb\xbf" + TEXT,
    "two-byte letters": TEXT.decode().encode("utf-16"),
    "decimal commas": comma(TEXT),
    "end of text behind": TEXT + b"\x1a",
    "noughts behind text": TEXT + b"\0" * 30,
    "one line": ONE_LINE,
    "one line, no endsolid": ONE_LINE[: ONE_LINE.rindex(b"endsolid")],
    "one line, capitals and tabs": ONE_LINE.replace(b" ", b"\t").upper(),
    "one line, a name of many words": ONE_LINE.replace(b"solid ", b"solid a solid facet here ", 1),
    "one line, two solids": b"solid one %bendsolid one solid two %bendsolid two" % HALVES,
    "one line, two solids without a name": b"solid %bendsolid solid %bendsolid" % HALVES,
    "second solid on one line": b"solid\n%bendsolid\nsolid two %bendsolid two" % HALVES,
    "second solid behind the end of the first": b"solid\n%bendsolid one solid two %b" % HALVES,
    "gzip": gzip.compress(BINARY),
    "gzip of text": gzip.compress(TEXT),
    "gzip in two": gzip.compress(BINARY[:300]) + gzip.compress(BINARY[300:]),
}


@pytest.mark.parametrize("name", GOOD)
def test_every_dialect_gives_the_same_box(tmp_path: Path, name: str) -> None:
    path = tmp_path / "part.stl"
    path.write_bytes(GOOD[name])
    part = read_part(path)
    assert part.soundness.volume_mm3 == pytest.approx(6000.0, rel=1e-6)
    assert np.asarray(part.mesh.bounds) == pytest.approx(np.asarray(BOX.bounds), abs=1e-5)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("byte behind", "1 byte after the last facet was passed over"),
        ("long block behind", "after the 12 facets that close the surface"),
        ("count too small", r"count in the header \(5\) is wrong: 12 facets"),
        ("count nought", r"count in the header \(0\) is wrong"),
        ("no endsolid", "without 'endsolid'"),
        ("decimal commas", "decimal commas"),
        ("one line", "on one line with the name"),
    ],
)
def test_what_was_passed_over_is_said(tmp_path: Path, name: str, said: str) -> None:
    path = tmp_path / "part.stl"
    path.write_bytes(GOOD[name])
    assert re.search(said, " ".join(read_part(path).warnings))


def scaled(factor: float, shift: float = 0.0) -> bytes:
    mesh = BOX.copy()
    mesh.vertices = mesh.vertices * factor + shift
    return stl_bytes(mesh, "a box")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (scaled(1e29), "longest side is 3e.30 mm"),
        (scaled(1e-40), "longest side is"),
        (scaled(1e-4), r"longest side is 0.003 mm.*m \(3 mm\)"),
        (scaled(1.0, 1e7), "away from the origin"),
        (counted(11, RECORDS[:520]), "promises 11 facets, 10 are there"),
        (counted(0, RECORDS[:550]), "damaged or is no STL"),
        (counted(3, RECORDS[:550]), "damaged or is no STL"),
        (gzip.compress(BINARY)[:-30], "gzip is (cut short|damaged)"),
        (gzip.compress(b"hello", mtime=0), "not an STL"),
        (b"\x1f\x8b" + b"nonsense" * 9, "gzip is damaged"),
        (ONE_LINE[: ONE_LINE.rindex(b"vertex")], "on one line with a name, and facet 12 is not"),
        (ONE_LINE.replace(b"outer", b"inner", 1), "on one line with a name, and facet 1 is not"),
        (TEXT.replace(b".5", b",5", 1), "not an ASCII STL line"),
        (comma(TEXT).replace(b"vertex", b"vertex 1", 2), "not an ASCII STL line"),
    ],
)
def test_what_cannot_be_right_is_refused(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "part.stl"
    path.write_bytes(data)
    with pytest.raises(FileError, match=said):
        read_part(path)


def test_a_gzip_bomb_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(unpack, "MAX_UNPACKED_BYTES", 10_000_000)
    path = tmp_path / "part.stl.gz"
    path.write_bytes(gzip.compress(bytes(20_000_000)))
    with pytest.raises(FileError, match="unpacks to more than"):
        read_part(path)


@pytest.mark.parametrize("data", [BINARY, TEXT])
def test_more_facets_than_memory_are_refused_by_an_estimate(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, data: bytes
) -> None:
    monkeypatch.setattr(unpack, "free_memory", lambda: 6_000)
    path = tmp_path / "part.stl"
    path.write_bytes(data)
    with pytest.raises(FileError, match="facets need about"):
        read_part(path)


def test_the_estimate_of_memory_is_told_and_just_what_fits_is_taken(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(unpack, "free_memory", lambda: 4_200_000_000)
    unpack.require_memory(5_000_000, "part.stl")
    with pytest.raises(FileError, match=r"6000000 facets need about 5\.0 GB of memory, 4\.2 GB"):
        unpack.require_memory(6_000_000, "part.stl")


def test_a_name_longer_than_a_file_may_have(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read"):
        read_part(tmp_path / f"{'n' * 300}.stl")


def test_a_device_is_no_file() -> None:
    with pytest.raises(FileError, match="device or a pipe"):
        read_part("/dev/zero")
