"""Facets out of a text STL, in one compiled walk over its bytes, or the line that is wrong.

The grammar is ``solid NAME``, facets of 21 words each, ``endsolid NAME``, any number of
times; words in either case, apart by any blanks and line ends. Names run to the end of their
line and may hold anything; where whole facets stand behind one, they are put on lines of their own.
Normals are passed over: facets are wound, and some exporters write words there.

A number comes out as the float32 next to it. Up to 18 digits make a whole number, which one
power of ten then scales; where the few roundings of that could tip the float32, Python's own
conversion decides. Source: W. D. Clinger, How to read floating point numbers accurately (1990).
"""

from __future__ import annotations

import re
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from shrinkrule.errors import FileError
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.jit import compiled

AGAIN: Final = "export the model again as STL"
FEWEST_FACET_BYTES: Final = 80
"""Fewer than a facet of 21 words takes, however short its numbers."""

DIGITS: Final = 18
"""That many decimal digits always fit into 64 bits."""

LARGEST_POWER: Final = 60
"""Of ten, up or down; a coordinate beyond is left to Python."""

EXACT_POWER: Final = 22
EXACT_WHOLE: Final = np.uint64(2**53)
"""Powers of ten and whole numbers up to these are exact in float64."""

ROUNDINGS: Final = 2.0**-51
"""Three half steps of float64 (whole number, power, their product), and some room."""

NUMBER: Final = -1
NORMAL: Final = -2
_WORDS: Final = (
    *("facet", "normal", NORMAL, NORMAL, NORMAL, "outer", "loop"),
    *("vertex", NUMBER, NUMBER, NUMBER) * 3,
    *("endloop", "endfacet"),
)
_BOUNDARIES: Final = ("solid", "endsolid", "end")
_NUMBER: Final = rb"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?|[-+]?(?:nan|inf|infinity)"
_LINE: Final = re.compile(
    rb"\s*(?:solid.*|end\s?solid.*|facet\s+normal(?:\s+\S+){3}|outer\s+loop"
    rb"|vertex(?:\s+(?:" + _NUMBER + rb")){3}|endloop|endfacet|)\s*",
    re.IGNORECASE,
)
_COMMA: Final = re.compile(rb"\bvertex\s[^\r\n]*\d,\d", re.IGNORECASE)
_POINT: Final = re.compile(rb"\bvertex\s[^\r\n]*\.", re.IGNORECASE)
_BEHIND_A_NAME: Final = (
    (re.compile(rb"\s(facet\s+normal\s|endsolid\b)", re.IGNORECASE), rb"\n\1"),
    (re.compile(rb"^(endsolid\b[^\r\n]*?)\s(solid\b[^\r\n]*\nfacet)", re.I | re.M), rb"\1\n\2"),
)
"""Where a name ends if no line does: at a facet, at the end of a solid and at the next solid."""
SEEN_BYTES: Final = 1 << 20
"""Of a text, to tell which decimal mark it uses."""


def _spelled(words: tuple[str | int, ...]) -> Ints:
    """Words as rows of lower-case bytes ended by 0; a kind of value as its number."""
    table = np.zeros((len(words), 10), np.int64)
    for row, word in zip(table, words, strict=True):
        if isinstance(word, int):
            row[0] = word
        else:
            row[: len(word)] = list(word.encode())
    return table


_FACET_TABLE: Final = _spelled(_WORDS)
_BOUNDARY_TABLE: Final = _spelled(_BOUNDARIES)
_TENS: Final = np.array([float(f"1e{power}") for power in range(LARGEST_POWER + 1)])


def as_plain_text(data: bytes) -> bytes | None:
    """Bytes of a text file in the letters of ASCII, or None if this is no text.

    Parameters
    ----------
    data : bytes
        The whole file; a byte-order mark and UTF-16 are taken off.

    Returns
    -------
    bytes or None
        The text.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16", "replace")
        return text.encode() if text[:512].lstrip().lower().startswith("solid") else None
    data = data.removeprefix(b"\xef\xbb\xbf")
    if data[: 1 << 16].lstrip().lower().startswith(b"solid"):
        data = data.rstrip(b"\0\x1a")
    return None if b"\0" in data[:4096] else data


def _with_points(data: bytes) -> tuple[bytes, tuple[str, ...]]:
    """Text with decimal points, where its vertices have decimal commas and no point."""
    head = data[:SEEN_BYTES]
    if not _COMMA.search(head) or _POINT.search(head):
        return data, ()
    # Names are passed over, so that a comma in one does not matter.
    return data.replace(b",", b"."), ("decimal commas were read as decimal points",)


def facets_from_text(data: bytes, where: str) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """Corner points of all facets in a text STL.

    Parameters
    ----------
    data : bytes
        The whole file, which begins with ``solid``.
    where : str
        Name of the file, for messages.

    Returns
    -------
    corners : (m, 3, 3) float32
        In the file's unit.
    notes : tuple of str
        What was passed over.

    Raises
    ------
    FileError
        For a line that does not belong there, and for a file that ends within a facet.
    """
    data, notes = _with_points(data)
    corners, starts, facets, state, inside, hard, hidden, stop = _walked(data)
    if hidden:
        for pattern, apart in _BEHIND_A_NAME:
            data = pattern.sub(apart, data)
        corners, starts, facets, state, inside, hard, hidden, stop = _walked(data)
        notes = (*notes, "facets on one line with the name of their solid were read")
        if hidden or state or stop < len(data):
            raise FileError(
                f"its facets stand on one line with a name, and facet {facets + 1} is not complete",
                where=where,
                hint=AGAIN,
            )
    if hard:
        _read_hard_numbers(data, corners, starts, where)
    if stop < len(data):
        raise FileError(_bad_line(data, int(starts[facets])), where=where, hint=AGAIN)
    if state:
        raise FileError(
            f"the file is cut short in facet {facets + 1}, "
            f"which begins on line {_line_at(data, int(starts[facets]))}",
            where=where,
            hint=AGAIN,
        )
    cut = ("the file ends without 'endsolid': it may have been cut short",) if inside else ()
    return corners, (*notes, *cut)


def _walked(data: bytes) -> Any:
    """Corners of the whole facets of a text and where these begin; the rest as from `_walk`."""
    most = len(data) // FEWEST_FACET_BYTES + 1
    corners, starts = np.empty((most, 3, 3), np.float32), np.empty(most, np.int64)
    text = np.frombuffer(data, np.uint8)
    ends = _walk(text, _FACET_TABLE, _BOUNDARY_TABLE, _TENS, corners, starts)
    return corners[: ends[0]], starts, *ends


@compiled
def _walk(
    text: NDArray[np.uint8],
    facet_words: Ints,
    boundaries: Ints,
    tens: Floats,
    corners: NDArray[np.float32],
    starts: Ints,
) -> Any:
    """Read words until the end of the text, or until one does not belong.

    Parameters
    ----------
    text : (n,) uint8
        The file.
    facet_words, boundaries : (21, 10), (3, 10) int64
        Words of a facet, and those between solids.
    tens : (p,) float64
        Powers of ten.
    corners : (k, 3, 3) float32
        Filled in; a number that is hard to read is left as nan.
    starts : (k,) int64
        Filled in: where each facet begins.

    Returns
    -------
    facets : int
        Whole facets read.
    state : int
        Words read of the next one.
    inside : bool
        Whether the last solid has not been ended.
    hard : int
        How many numbers were left.
    hidden : bool
        Whether a name holds whole facets.
    stop : int
        Where reading ended: the length of the text, or the word that does not belong.
    """
    size, i = len(text), 0
    state, facets, hard, inside, hidden = 0, 0, 0, False, False
    while True:
        while i < size and (text[i] == 32 or 9 <= text[i] <= 13):
            i += 1
        if state == 0:
            starts[facets] = i
        if i >= size:
            return facets, state, inside, hard, hidden, size
        begin = i
        while i < size and not (text[i] == 32 or 9 <= text[i] <= 13):
            i += 1
        kind = facet_words[state, 0]
        if kind == NUMBER:
            value = _number(text, begin, i, tens)
            hard += value != value
            corners[facets, (state - 7) // 4, (state - 8) % 4] = value
        elif kind != NORMAL:
            if state == 0 and not (inside and _is_word(text, begin, i, facet_words[0])):
                ends = _begins(text, begin, size, boundaries[1])
                if _is_word(text, begin, i, boundaries[2]):
                    while i < size and (text[i] == 32 or text[i] == 9):
                        i += 1
                    ends = _begins(text, i, size, boundaries[0])
                if not ends and not _begins(text, begin, size, boundaries[0]):
                    return facets, state, inside, hard, hidden, begin
                inside = not ends
                while i < size and text[i] != 10 and text[i] != 13:
                    if text[i] == 101 or text[i] == 69:
                        hidden |= _begins(text, i, size, facet_words[-1])
                    i += 1
                continue
            if not _is_word(text, begin, i, facet_words[state]):
                return facets, state, inside, hard, hidden, begin
        state += 1
        if state == len(facet_words):
            state = 0
            facets += 1


@compiled
def _begins(text: NDArray[np.uint8], begin: int, size: int, word: Ints) -> Any:
    """Whether the text goes on with the word, which a name may follow without a blank."""
    length = 0
    while word[length] != 0:
        length += 1
    return _is_word(text, begin, min(begin + length, size), word)


@compiled
def _is_word(text: NDArray[np.uint8], begin: int, end: int, word: Ints) -> Any:
    """Whether the text from ``begin`` to ``end`` is the word, in either case."""
    if end - begin >= len(word) or word[end - begin] != 0:
        return False
    for k in range(end - begin):
        letter: Any = np.int64(text[begin + k])
        if 65 <= letter <= 90:
            letter += 32
        if letter != word[k]:
            return False
    return True


@compiled
def _number(text: NDArray[np.uint8], begin: int, end: int, tens: Floats) -> Any:
    """Value of a decimal number, good for its float32; nan where that is not sure."""
    i = begin
    negative = text[i] == 45
    if negative or text[i] == 43:
        i += 1
    digits: Any = 0
    whole, power, seen, point = np.uint64(0), 0, False, False
    while i < end:
        letter: Any = np.int64(text[i])
        if 48 <= letter <= 57:
            seen = True
            whole = whole * np.uint64(10) + np.uint64(letter - 48)
            digits += whole > 0
            power -= point
        elif letter == 46 and not point:
            point = True
        else:
            break
        i += 1
    if i < end and (text[i] == 101 or text[i] == 69):
        i += 1
        lower = i < end and text[i] == 45
        if i < end and (lower or text[i] == 43):
            i += 1
        exponent: Any = np.int64(0)
        seen = seen and i < end
        while i < end and 48 <= text[i] <= 57 and exponent < 10000:
            exponent = 10 * exponent + np.int64(text[i]) - 48
            i += 1
        power += -exponent if lower else exponent
    if i < end or not seen or digits > DIGITS:
        return np.nan
    if whole == 0:
        return 0.0
    if power > LARGEST_POWER or power < -LARGEST_POWER:
        return np.nan
    value = whole * tens[power] if power >= 0 else whole / tens[-power]
    if (whole > EXACT_WHOLE or abs(power) > EXACT_POWER) and np.float32(
        value * (1.0 - ROUNDINGS)
    ) != np.float32(value * (1.0 + ROUNDINGS)):
        return np.nan
    return -value if negative else value


def _read_hard_numbers(data: bytes, corners: NDArray[np.float32], starts: Ints, where: str) -> None:
    """Read again, one by one, the facets in which a number was left."""
    for facet in np.flatnonzero(np.isnan(corners).any(axis=(1, 2))):
        begin = int(starts[facet])
        words = data[begin : int(starts[facet + 1])].lower().split()[: len(_WORDS)]
        numbers = words[8:11] + words[12:15] + words[16:19]
        if not all(re.fullmatch(_NUMBER, number) for number in numbers):
            raise FileError(_bad_line(data, begin), where=where, hint=AGAIN)
        with np.errstate(over="ignore"):
            # Beyond float32 a coordinate is infinite, and refused as such.
            values = np.array([float(number) for number in numbers]).astype(np.float32)
        corners[facet] = values.reshape(3, 3)


def _line_at(data: bytes, place: int) -> int:
    """Number of the line, from 1, that holds a byte."""
    return len((data[:place] + b"|").splitlines())


def _bad_line(data: bytes, begin: int) -> str:
    """Say which line, from the facet or word at ``begin`` on, does not belong."""
    first = _line_at(data, begin)
    words = iter(_WORDS)
    for number, line in enumerate(data[begin:].splitlines(), start=first):
        shown = line.strip()[:40].decode("utf-8", "replace")
        if not _LINE.fullmatch(line):
            return f"line {number} is not an ASCII STL line: {shown!r}"
        for word in line.lower().split():
            wanted = next(words, None)
            if wanted is None:
                return f"the facet that begins on line {first} belongs to no solid"
            if isinstance(wanted, str) and word != wanted.encode():
                return f"line {number} is out of place: {shown!r}"
    return f"the facet that begins on line {first} is not complete"
