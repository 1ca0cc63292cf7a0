"""Every public name can be had, and is documented."""

from __future__ import annotations

import pytest

import shrinkrule


def test_every_name_is_there_and_says_what_it_is() -> None:
    for name in shrinkrule.__all__:
        thing = getattr(shrinkrule, name)
        assert thing.__name__ == name
        assert thing.__doc__, name
        assert thing.__module__.startswith("shrinkrule."), name


def test_names_are_listed_in_order() -> None:
    assert dir(shrinkrule) == sorted(shrinkrule.__all__)
    assert list(shrinkrule.__all__) == sorted(shrinkrule.__all__, key=lambda n: (n.islower(), n))


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="slice_it"):
        _ = getattr(shrinkrule, "slice" + "_it")
