"""three.js, taken out of the page that trimesh's package ships; nothing is copied here or fetched.

The page begins with the whole of three.js under its MIT notice, which stays with it. Where the
page of another version of trimesh holds none, there is no turning part, and the stills remain.
"""

from __future__ import annotations

import io
import zipfile
from functools import lru_cache
from importlib import resources
from typing import Final

_BEGINS: Final = "/**\n * @license\n * Copyright 2010-"
_ENDS: Final = 'Object.defineProperty(t,"__esModule",{value:!0})}));'
_MIT: Final = "SPDX-License-Identifier: MIT"


@lru_cache(maxsize=1)
def three_js() -> str:
    """three.js with its notice, as a script.

    Returns
    -------
    str
        Empty where trimesh's package does not hold it as it is known.
    """
    archive = resources.files("trimesh") / "resources" / "templates" / "viewer.zip"
    try:
        with zipfile.ZipFile(io.BytesIO(archive.read_bytes())) as pages:
            page = pages.read("viewer.html.template").decode("utf-8")
    except (OSError, KeyError, zipfile.BadZipFile):
        return ""
    start, end = page.find(_BEGINS), page.find(_ENDS)
    script = page[start : end + len(_ENDS)] if 0 <= start < end else ""
    return script if _MIT in script and "</" + "script" not in script else ""
