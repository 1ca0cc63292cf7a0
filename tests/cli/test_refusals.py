"""Refusals name the flags of the command line there, and only there."""

from __future__ import annotations

from shrinkrule.cli.main import refusal_text
from shrinkrule.cli.options import FLAGS
from shrinkrule.errors import MeshError, Option


def test_every_option_of_a_hint_has_a_flag() -> None:
    assert set(FLAGS) == set(Option)


def test_flags_stand_behind_the_hint() -> None:
    error = MeshError("it tips over", hint="hold it", options=(Option.SUPPORT, Option.SAG))
    assert "--" not in str(error)
    assert refusal_text(error) == "it tips over; hold it (--support, --sag)."
