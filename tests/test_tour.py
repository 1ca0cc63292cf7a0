"""The tour of the module heads is that of the modules as they are, and leaves none out."""

from __future__ import annotations

from make_tour import DOCS, PACKAGE, ROOMS, tour


def test_the_tour_shows_the_heads_as_they_are() -> None:
    """If this fails: ``python docs/make_tour.py``."""
    assert (DOCS / "tour.md").read_text(encoding="utf-8") == tour()


def test_the_tour_goes_through_every_room() -> None:
    rooms = {
        path.stem
        for path in PACKAGE.iterdir()
        if (path.suffix == ".py" or (path / "__init__.py").is_file())
        and not path.name.startswith("__")
    }
    assert {name for _, names in ROOMS for name in names} == rooms
