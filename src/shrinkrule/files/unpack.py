"""Bytes of a file or a gzip, and the refusal of more than this machine's memory holds.

Nothing is unpacked without a limit: what a header says of a size is never believed.
"""

from __future__ import annotations

import contextlib
import math
import zlib
from pathlib import Path
from typing import Final

from shrinkrule.errors import FileError
from shrinkrule.files.plain import plain_bytes, require_plain

GZIP_MARK: Final = b"\x1f\x8b"
BYTES_PER_FACET: Final = 800
"""Memory that a facet takes from reading to the report, beyond what the program takes.

Measured: ``compensate`` of a tube of two million facets, longer than the samples are apart, took
1.27 GB at its peak, of a ball of 0.4 million 0.68 GB; 0.29 of them before it began."""

BYTES_OF_MANY: Final = 150_000_000
"""What the samples of the walls and the search for sag take besides, whatever the facets."""

MANY: Final = 100_000
"""Facets from which that is counted: of a smaller part only what its facets take is asked for."""

MAX_UNPACKED_BYTES: Final = 2 * 1024**3
_CHUNK: Final = 1 << 20
_MEMORY: Final = Path("/proc/meminfo")
_GROUP_LIMIT: Final = Path("/sys/fs/cgroup/memory.max")
_GROUP_USED: Final = Path("/sys/fs/cgroup/memory.current")
_IF_UNKNOWN: Final = 4 * 1024**3


def free_memory() -> int:
    """Bytes of memory that this process may still take; 4 GiB where nothing tells.

    Returns
    -------
    int
        The smaller of what the machine and the process group have left.
    """
    free = _IF_UNKNOWN
    try:
        line = next(t for t in _MEMORY.read_text().splitlines() if t.startswith("MemAvailable"))
        free = 1024 * int(line.split()[1])
    except (OSError, StopIteration, ValueError):
        pass
    with contextlib.suppress(OSError, ValueError):
        free = min(free, int(_GROUP_LIMIT.read_text()) - int(_GROUP_USED.read_text()))
    return max(free, 0)


def needed_memory(facets: int) -> int:
    """Memory that a part takes from reading to the report, beyond what the program takes.

    Parameters
    ----------
    facets : int
        Number of facets.

    Returns
    -------
    int
        Bytes.

    Examples
    --------
    >>> needed_memory(1_000_000)
    950000000
    """
    return BYTES_PER_FACET * facets + (BYTES_OF_MANY if facets >= MANY else 0)


def require_memory(facets: int, where: str) -> None:
    """Refuse a model that would not fit into memory, before it is built.

    Parameters
    ----------
    facets : int
        Number of facets.
    where : str
        Name of the file, for messages.

    Raises
    ------
    FileError
        If the estimate is above the memory that is free.
    """
    needed, free = needed_memory(facets), free_memory()
    if needed > free:
        raise FileError(
            f"{facets} facets need about {needed / 1e9:.1f} GB of memory, {free / 1e9:.1f} GB are "
            "free",
            where=where,
            hint="export the model coarser, or close other programs",
        )


def file_bytes(path: Path) -> bytes:
    """Read a model file, unpacked if it is a gzip.

    Parameters
    ----------
    path : Path
        File to read; it is never written to.

    Returns
    -------
    bytes
        Its contents.

    Raises
    ------
    FileError
        For a file that is missing, a folder, a device, too large, or a damaged gzip.
    """
    size = require_plain(path, "model")
    if size > free_memory():
        raise FileError(
            f"the file has {size / 1e9:.1f} GB, more than the memory that is free",
            where=str(path),
            hint="export the model coarser",
        )
    data = plain_bytes(path, math.inf, "model")
    return _unzipped(data, path.name) if data[:2] == GZIP_MARK else data


def _unzipped(data: bytes, where: str) -> bytes:
    """Contents of a gzip, of one or several members."""
    most = min(MAX_UNPACKED_BYTES, free_memory() // 4)
    parts: list[bytes] = []
    total = 0
    try:
        while data[:2] == GZIP_MARK:
            stream = zlib.decompressobj(wbits=31)
            while data and not stream.eof:
                parts.append(stream.decompress(data, _CHUNK))
                data = stream.unconsumed_tail
                total += len(parts[-1])
                if total > most:
                    raise FileError(
                        f"this gzip unpacks to more than {most / 1e9:.1f} GB",
                        where=where,
                        hint="unpack it and look at what is in it",
                    )
            if not stream.eof:
                raise FileError("this gzip is cut short", where=where, hint="fetch it again")
            data = stream.unused_data
    except zlib.error as error:
        raise FileError("this gzip is damaged", where=where, hint="fetch it again") from error
    return b"".join(parts)
