"""Reading numbers out of text files, many lines at once, with the line number of whatever is wrong."""

import codecs
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.limits import MAX_LINE_BYTES
from mirrorprep.intake.raw import refuse

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

_BLOCK_BYTES: Final = 4 * 2**20
_MARKS: Final = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_NEWLINE: Final = 10
_SPACE: Final = 32
_LOWER: Final = 32


def plain_text(data: bytes) -> bytes:
    """Return text as UTF-8 without a byte order mark, lines ended by one newline each.

    Raises
    ------
    InputFileError
        If a byte order mark promises an encoding that the rest does not keep.
    """
    try:
        return _plain(data, "strict")
    except UnicodeError as error:
        refuse(f"The text is not valid {getattr(error, 'encoding', 'text').upper()} ({error}).")


def text_head(data: bytes, size: int) -> bytes:
    """Return the beginning of a text as `plain_text` would, whatever the bytes are."""
    return _plain(data[:size], "replace")


def _plain(data: bytes, errors: str) -> bytes:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            data = data.decode(encoding, errors).encode("utf-8", errors)
            break
    data = data.removeprefix(codecs.BOM_UTF8)
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return data


def looks_like_text(data: bytes) -> bool:
    """Whether the first bytes hold no control characters that text never has."""
    head = data[:1024]
    return not any(code in head for code in (b"\x00", b"\x01", b"\x02", b"\x03", b"\x04", b"\x05"))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LineBlock:
    """Some whole lines of a text file, split into tokens.

    Attributes
    ----------
    codes : (b,) uint8
        The bytes.
    first_line : int
        Number of the first line in the file, counted from 1.
    starts, stops : (n,) int64
        Where each line begins, and where it ends behind its newline.
    counts : (n,) int64
        Tokens on each line.
    tokens : (t,) int64
        Where each token begins.
    first_tokens : (n,) int64
        Row in `tokens` of each line's first token (of the next one for an empty line).
    letters : (n,) uint8
        First letter of each line in lower case, 0 for an empty line.
    """

    codes: NDArray[np.uint8]
    first_line: int
    starts: IntArray
    stops: IntArray
    counts: IntArray
    tokens: IntArray
    first_tokens: IntArray
    letters: NDArray[np.uint8]

    def line(self, row: int) -> bytes:
        """Return one line's bytes, stripped."""
        return self.codes[self.starts[row] : self.stops[row]].tobytes().strip()

    def keyed(self, word: bytes) -> BoolArray:
        """Return which lines begin with the token `word` (given in lower case), case aside."""
        found: BoolArray = np.asarray(self.letters == word[0])
        places = self.tokens[self.first_tokens[found]]
        last = len(self.codes) - 1
        match = self.codes[np.minimum(places + len(word), last)] <= _SPACE
        for offset, letter in enumerate(word[1:], start=1):
            match &= (self.codes[np.minimum(places + offset, last)] | _LOWER) == letter
        found[found] = match
        return found

    def numbers(self, rows: BoolArray, *, skip: int = 0) -> FloatArray:
        """Return all numbers on the chosen lines, the first `skip` tokens of each left out.

        Raises
        ------
        InputFileError
            Naming the first line that holds something else.
        """
        values = parse_numbers(self.text(rows, skip=skip))
        expected = np.maximum(self.counts[rows] - skip, 0).sum()
        if values is None or len(values) != expected:
            self._blame(rows, skip)
        return values

    def text(self, rows: BoolArray, *, skip: int) -> bytes:
        """Return the chosen lines in one piece, the first `skip` tokens of each left out."""
        chosen = rows & (self.counts > skip)
        change = np.zeros(len(self.codes) + 1, dtype=np.int8)
        change[self.tokens[self.first_tokens[chosen] + skip]] = 1
        change[self.stops[chosen]] -= 1
        return self.codes[np.cumsum(change[:-1], dtype=np.int8).view(np.bool_)].tobytes()

    def _blame(self, rows: BoolArray, skip: int) -> NoReturn:
        for row in np.flatnonzero(rows):
            for token in self.line(int(row)).split()[skip:]:
                if parse_numbers(token) is None:
                    self.refuse_token(int(row), token)
        refuse("The text holds a number that cannot be read.")

    def refuse_token(self, row: int, token: bytes) -> NoReturn:
        """Refuse a token, naming its line."""
        shown = token[:40].decode("ascii", "backslashreplace")
        hint = " A decimal comma is not read; a decimal point is." if b"," in token else ""
        refuse(f"Line {self.first_line + row} holds '{shown}' where a number belongs.{hint}")


def parse_numbers(text: bytes) -> FloatArray | None:
    """Return the numbers in a text separated by white space, or None if there is anything else in it.

    Examples
    --------
    >>> parse_numbers(b"1 2.5e1").tolist()
    [1.0, 25.0]
    """
    if b"." not in text:  # whole numbers are read three times as fast
        whole = _parsed(text, np.int64)
        if whole is not None:
            return whole.astype(np.float64)
    return _parsed(text, np.float64)


def parse_integers(text: bytes) -> IntArray | None:
    """Return the whole numbers in a text separated by white space, or None if there is anything else in it.

    Examples
    --------
    >>> parse_integers(b"1 -2").tolist()
    [1, -2]
    >>> parse_integers(b"1.5") is None
    True
    """
    return _parsed(text, np.int64)


def _parsed(text: bytes, kind: type) -> NDArray[Any] | None:
    if not text or text.isspace():
        return np.zeros(0, dtype=kind)
    with warnings.catch_warnings():
        warnings.simplefilter("error", DeprecationWarning)  # what older numpy answers instead of the error
        try:
            return np.fromstring(text, dtype=kind, sep=" ")
        except (ValueError, DeprecationWarning):
            return None


def blocks(text: bytes, *, comment: bytes = b"", line_number: int = 1) -> Iterator[LineBlock]:
    """Yield a text as blocks of whole lines of a few MiB, comments blanked out, lines numbered as told.

    Raises
    ------
    InputFileError
        If a line is longer than the limit.
    """
    begin = 0
    while begin < len(text):
        end = text.rfind(b"\n", begin, begin + _BLOCK_BYTES) + 1
        if end == 0:
            end = (text.find(b"\n", begin) + 1) or len(text)
        block = _line_block(text[begin:end], line_number, comment)
        yield block
        begin = end
        line_number += len(block.starts)


def _line_block(text: bytes, first_line: int, comment: bytes) -> LineBlock:
    if not text.endswith(b"\n"):
        text += b"\n"
    codes = np.frombuffer(text, dtype=np.uint8)
    newlines = np.flatnonzero(codes == _NEWLINE)
    stops = newlines + 1
    starts = np.concatenate([np.zeros(1, dtype=np.int64), stops[:-1]])
    longest = int(np.argmax(stops - starts))
    if stops[longest] - starts[longest] > MAX_LINE_BYTES:
        refuse(
            f"Line {first_line + longest} has {stops[longest] - starts[longest]} bytes "
            f"(limit {MAX_LINE_BYTES})."
        )
    if comment and comment in text:
        codes = _without_comments(codes, stops, comment)
    inside = codes > _SPACE
    tokens = np.flatnonzero(inside[1:] > inside[:-1]) + 1
    if inside[0]:
        tokens = np.concatenate([np.zeros(1, dtype=np.int64), tokens])
    ends = np.searchsorted(tokens, stops)
    counts = np.diff(ends, prepend=0)
    first_tokens = ends - counts
    letters = np.zeros(len(stops), dtype=np.uint8)
    letters[counts > 0] = codes[tokens[first_tokens[counts > 0]]] | _LOWER
    return LineBlock(
        codes=codes,
        first_line=first_line,
        starts=starts,
        stops=stops,
        counts=counts,
        tokens=tokens,
        first_tokens=first_tokens,
        letters=letters,
    )


def _without_comments(codes: NDArray[np.uint8], stops: IntArray, comment: bytes) -> NDArray[np.uint8]:
    """Blank everything from the comment mark to the end of its line."""
    marks = np.flatnonzero(codes == comment[0])
    lines = np.searchsorted(stops, marks, side="right")
    first = np.concatenate([np.ones(1, dtype=np.bool_), lines[1:] != lines[:-1]])
    change = np.zeros(len(codes) + 1, dtype=np.int8)
    change[marks[first]] = 1
    change[stops[lines[first]] - 1] -= 1
    plain = codes.copy()
    plain[np.cumsum(change[:-1], dtype=np.int8).view(np.bool_)] = _SPACE
    return plain
