"""What a workshop states once, in ``shrinkrule.toml``: what holds, and where it comes from."""

from shrinkrule.settings.holding import Setting, Settings
from shrinkrule.settings.key import Key, Value
from shrinkrule.settings.keys import KEYS
from shrinkrule.settings.measured import row_states
from shrinkrule.settings.stated import Source, Stated
from shrinkrule.settings.toml_files import FILE_NAME, files_for, read_settings, user_file
from shrinkrule.settings.workshop import (
    bed_of,
    furnace_of,
    limits_of,
    printer_of,
    spool_of,
)
from shrinkrule.settings.write import settings_text

__all__ = [
    "FILE_NAME",
    "KEYS",
    "Key",
    "Setting",
    "Settings",
    "Source",
    "Stated",
    "Value",
    "bed_of",
    "files_for",
    "furnace_of",
    "limits_of",
    "printer_of",
    "read_settings",
    "row_states",
    "settings_text",
    "spool_of",
    "user_file",
]
