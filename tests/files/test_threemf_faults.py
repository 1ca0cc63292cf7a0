"""3MF packages by hand: placed as the specification says, or refused in a line that says why."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest

from shrinkrule.errors import FileError
from shrinkrule.mesh import read_part

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
# A tetrahedron of 6 x 6 x 6: volume 36.
POINTS = ("0 0 0", "6 0 0", "0 6 0", "0 0 6")
FACETS = ("0 2 1", "0 1 3", "0 3 2", "1 2 3")


def mesh(points: tuple[str, ...] = POINTS, facets: tuple[str, ...] = FACETS) -> str:
    v = "".join('<vertex x="{}" y="{}" z="{}"/>'.format(*p.split()) for p in points)
    t = "".join('<triangle v1="{}" v2="{}" v3="{}"/>'.format(*f.split()) for f in facets)
    return f"<mesh><vertices>{v}</vertices><triangles>{t}</triangles></mesh>"


def model(
    objects: str = f'<object id="1">{mesh()}</object>',
    items: str = '<item objectid="1"/>',
    more: str = "",
    before: str = "",
) -> str:
    return (
        f'{before}<model xmlns="{CORE}" xmlns:p="{PRODUCTION}" {more}>'
        f"<resources>{objects}</resources><build>{items}</build></model>"
    )


def package(
    root: str,
    path: str = "3D/3dmodel.model",
    others: dict[str, str] | None = None,
    compression: int = zipfile.ZIP_DEFLATED,
) -> bytes:
    out = io.BytesIO()
    relation = f'<Relationship Target="/{path}" Id="r" Type="{RELATION}"/>'
    with zipfile.ZipFile(out, "w", compression) as made:
        made.writestr("_rels/.rels", f"<Relationships>{relation}</Relationships>")
        made.writestr(path, root)
        for name, text in (others or {}).items():
            made.writestr(name, text)
    return out.getvalue()


def volume_and_low(folder: Path, data: bytes) -> tuple[float, list[float]]:
    path = folder / "part.3mf"
    path.write_bytes(data)
    part = read_part(path)
    return part.soundness.volume_mm3, [float(x) for x in np.asarray(part.mesh.bounds)[0]]


def test_a_model_at_another_path(tmp_path: Path) -> None:
    assert volume_and_low(tmp_path, package(model(), "Shapes/lever.model"))[0] == pytest.approx(36)


def test_components_and_items_are_placed_by_row_vectors(tmp_path: Path) -> None:
    """Core Specification 3.3: a point is a row, the last row of the matrix moves it."""
    objects = (
        f'<object id="1">{mesh()}</object><object id="2"><components>'
        '<component objectid="1" transform="0 1 0 -1 0 0 0 0 1 10 0 0"/></components></object>'
    )
    items = '<item objectid="2" transform="2 0 0 0 1 0 0 0 1 0 0 5"/>'
    volume, low = volume_and_low(tmp_path, package(model(objects, items)))
    # (x, y) turns to (-y, x), moves by 10 along x, then x doubles: from 2 (10 - 6) on.
    assert volume == pytest.approx(72.0)
    assert low == pytest.approx([8.0, 0.0, 5.0])


def test_a_mirrored_item_keeps_its_outside(tmp_path: Path) -> None:
    items = '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
    path = tmp_path / "part.3mf"
    path.write_bytes(package(model(items=items)))
    part = read_part(path)
    assert part.soundness.volume_mm3 == pytest.approx(36.0)
    assert part.mends == ()


def test_an_object_in_a_part_of_its_own(tmp_path: Path) -> None:
    objects = (
        '<object id="5"><components><component objectid="1" p:path="/3D/a.model"/>'
        "</components></object>"
    )
    root = model(objects, '<item objectid="5"/>', 'requiredextensions="p"')
    data = package(root, others={"3D/a.model": model(items="")})
    assert volume_and_low(tmp_path, data)[0] == pytest.approx(36.0)


@pytest.mark.parametrize("kind", ["support", "surface", "other"])
def test_objects_that_are_no_solid_are_passed_over(tmp_path: Path, kind: str) -> None:
    """Core Specification 4.1: only objects of type model and solidsupport are solid."""
    objects = f'<object id="1">{mesh()}</object><object id="2" type="{kind}">{mesh()}</object>'
    items = '<item objectid="1"/><item objectid="2" transform="1 0 0 0 1 0 0 0 1 40 0 0"/>'
    assert volume_and_low(tmp_path, package(model(objects, items)))[0] == pytest.approx(36.0)


BOMB = '<!DOCTYPE m [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'


def chain(length: int) -> str:
    """Objects that each hold the one before twice: two to that power of bodies."""
    held = [f'<object id="1">{mesh()}</object>']
    for n in range(2, length + 1):
        child = f'<component objectid="{n - 1}"/>'
        held.append(f'<object id="{n}"><components>{child * 2}</components></object>')
    return model("".join(held), f'<item objectid="{length}"/>')


BAD: dict[str, tuple[bytes, str]] = {
    "index": (
        package(model(f'<object id="1">{mesh(facets=("0 1 9",))}</object>')),
        "triangle 0 of object 1 names vertex 9, but the object has 4",
    ),
    "negative index": (
        package(model(f'<object id="1">{mesh(facets=("0 1 -1",))}</object>')),
        "names vertex -1",
    ),
    "no number": (
        package(model(f'<object id="1">{mesh(points=("0 0 wide",) * 4)}</object>')),
        "no number",
    ),
    "not finite": (
        package(model(f'<object id="1">{mesh(points=("0 0 nan", *POINTS[1:]))}</object>')),
        "vertex 0 of object 1",
    ),
    "missing coordinate": (
        package(model('<object id="1"><mesh><vertices><vertex x="1"/></vertices></mesh></object>')),
        "no number",
    ),
    "extension": (
        package(model(more='xmlns:q="http://a.example/spline" requiredextensions="q"')),
        "3MF extension 'http://a.example/spline', which is not known",
    ),
    "secure extension": (
        package(
            model(
                more='xmlns:s="http://schemas.microsoft.com/3dmanufacturing/securecontent/2019/04" '
                'requiredextensions="s"'
            )
        ),
        "encrypted",
    ),
    "keystore": (package(model(), others={"Secure/keystore.xml": "<k/>"}), "encrypted"),
    "compound file": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "encrypted"),
    "object missing": (package(model(items='<item objectid="7"/>')), "object 7 is placed but miss"),
    "circle": (
        package(
            model('<object id="1"><components><component objectid="1"/></components></object>')
        ),
        "object 1 holds itself",
    ),
    "twenty-nine doublings": (package(chain(30)), "facets need about"),
    "flat": (
        package(model(items='<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>')),
        "makes an object flat",
    ),
    "huge transforms": (
        package(
            model(
                f'<object id="1">{mesh(points=("0 0 0", "1e300 0 0", *POINTS[2:]))}</object>',
                '<item objectid="1" transform="1e9 0 0 0 1 0 0 0 1 0 0 0"/>',
            )
        ),
        "beyond what a number holds",
    ),
    "transform of no finite volume": (
        package(model(items=f'<item objectid="1" transform="{"1e200 " * 12}"/>')),
        "makes an object flat",
    ),
    "short transform": (
        package(model(items='<item objectid="1" transform="1 0 0"/>')),
        "not twelve numbers",
    ),
    "document type": (package(model(before=BOMB)), "document type"),
    "way out": (package(model(), others={"../../etc/x": "y"}), "leads out"),
    "no solid": (
        package(model(f'<object id="1" type="support">{mesh()}</object>')),
        "holds 4 facets; export it as a solid, not as support",
    ),
    "no item": (package(model(items="")), "places no solid, although it holds 4 facets"),
    "unit": (package(model(more='unit="cubit"')), "unknown 3MF unit 'cubit'"),
    "no model there": (
        package(model()).replace(b"3D/3dmodel.model", b"3D/3dmodel.modem"),
        "is missing in this package",
    ),
    "half a model": (package(model()[:300]), "no valid XML"),
    "compression": (package(model(), compression=zipfile.ZIP_LZMA), "of an unknown kind"),
    "bomb": (package(" " * 50_000_000), "times its size"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_wrong_is_named(tmp_path: Path, name: str) -> None:
    data, said = BAD[name]
    with pytest.raises(FileError, match=said):
        volume_and_low(tmp_path, data)


def test_damage_anywhere_ends_in_a_refusal_or_the_right_part(tmp_path: Path) -> None:
    whole = package(model())
    refused = 0
    for place in range(len(whole)):
        broken = bytearray(whole)
        broken[place] ^= 0x15
        try:
            volume, _ = volume_and_low(tmp_path, bytes(broken))
            assert volume == pytest.approx(36.0)
        except FileError:
            refused += 1
    assert refused > len(whole) // 3


def test_an_encrypted_entry(tmp_path: Path) -> None:
    data = bytearray(package(model()))
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        start = -1
        while (start := data.find(mark, start + 1)) >= 0:
            data[start + offset] |= 1
    with pytest.raises(FileError, match="encrypted"):
        volume_and_low(tmp_path, bytes(data))
