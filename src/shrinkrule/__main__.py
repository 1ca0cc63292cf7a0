"""``python -m shrinkrule`` is the same as the ``shrinkrule`` command."""

from shrinkrule.cli import run

run()
