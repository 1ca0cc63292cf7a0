"""Refusals name the flags of the command line there, and only there."""

from __future__ import annotations

from typing import get_type_hints

from shrinkrule.cli.main import app, refusal_text
from shrinkrule.cli.options import FLAGS
from shrinkrule.errors import MeshError, Option


def test_every_option_of_a_hint_has_a_flag() -> None:
    assert set(FLAGS) == set(Option)


def test_flags_stand_behind_the_hint() -> None:
    error = MeshError("it tips over", hint="hold it", options=(Option.SUPPORT, Option.SAG))
    assert "--" not in str(error)
    assert refusal_text(error) == "it tips over; hold it (--support, --sag)."


def test_a_file_that_may_not_be_read_is_left_to_its_reader_to_refuse() -> None:
    """Which says so in one line, as of any other file; the parser draws a box with the usage."""
    asked = {
        f"{command.callback.__name__} {name}": stated.readable
        for command in app.registered_commands
        if command.callback is not None
        for name, hint in get_type_hints(command.callback, include_extras=True).items()
        for stated in getattr(hint, "__metadata__", ())
        if "Path" in str(hint.__origin__)
    }
    assert len(asked) > 20
    assert not [name for name, readable in asked.items() if readable]
