"""Text out of bytes: the encoding, the line ends, and blocks of whole lines with their line numbers."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable, Iterator

from excursions.errors import InputFileError
from excursions.read.text.encodings import encoding_by_content

BOMS: tuple[tuple[bytes, str], ...] = (
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe\x00\x00", "utf-32-le"),
    (b"\x00\x00\xfe\xff", "utf-32-be"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
# A cell may run over several lines inside quotes; a quote that is not closed after this many bytes is a stray one.
LONGEST_CELL = 64 * 2**10
LONGEST_LINE = 64 * 2**20  # bytes; ten thousand columns fill about a quarter of a megabyte


def endless_line() -> InputFileError:
    """The refusal of a text that does not come to the end of a line."""
    return InputFileError(
        found=f"a line of more than {LONGEST_LINE} bytes", expected="lines, each with a time and readings",
        mend="the file is damaged or no table: copy or export it again",
    )  # fmt: skip


def encoding_of(head: bytes, stated: str = "") -> tuple[str, int]:
    """Encoding of a text that begins with `head`, and the length of its byte order mark.

    UTF-16 without a mark shows as zero bytes at every other place.  What is not UTF-8 is taken as
    Windows-1252, in which nearly every byte has a meaning, unless its words or letters speak for another encoding.
    """
    for mark, name in BOMS:
        if head.startswith(mark):
            return name, len(mark)
    if stated:
        return stated, 0
    even, odd = head[0:2000:2].count(0), head[1:2000:2].count(0)
    half = max(1, len(head[:2000]) // 2)
    if odd > 0.6 * half and even < 0.1 * half:
        return "utf-16-le", 0
    if even > 0.6 * half and odd < 0.1 * half:
        return "utf-16-be", 0
    return ("utf-8" if is_utf8(head) else encoding_by_content(head)), 0


def is_utf8(data: bytes) -> bool:
    """Whether bytes are UTF-8; the last letter may be cut."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        decoder.decode(data, final=False)
    except UnicodeDecodeError:
        return False
    return True


def as_utf8(chunks: Iterable[bytes], encoding: str, skip: int) -> Iterator[bytes]:
    """The same text as UTF-8 with ``\\n`` line ends; `skip` bytes of byte order mark are dropped."""
    decoder = None if encoding == "utf-8" else codecs.getincrementaldecoder(encoding)(errors="replace")
    held = b""
    for chunk in chunks:
        if skip:
            chunk, skip = chunk[skip:], max(0, skip - len(chunk))
        data = held + (decoder.decode(chunk).encode() if decoder else chunk)
        held = b"\r" if data.endswith(b"\r") else b""
        data = data[: len(data) - len(held)]
        if data:
            yield unix_lines(data)
    rest = held + (decoder.decode(b"", final=True).encode() if decoder else b"")
    if rest:
        yield unix_lines(rest)


def unix_lines(data: bytes) -> bytes:
    """Turn CR LF and lone CR into LF."""
    if b"\r" not in data:
        return data
    return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")


_ZEROS = re.compile(rb"(?m)(^)?\x00{8,}")  # a single one is a slip of the writer and passed by in its cell
_HOLE = bytes(8)
_MOST_HOLES = 3  # of the first lines of a text; what has more of them is no text


def is_holed(head: bytes) -> bool:
    """Whether a text has a few holes of zero bytes, as a recorder without power leaves them, or as it reserves its file."""
    return b"\0" in head and _HOLE in head and len(_ZEROS.findall(head)) <= _MOST_HOLES


def without_zeros(data: bytes) -> bytes:
    """A text of whole lines without zero bytes; a line that one breaks off gets a mark that no number and no time has."""
    if b"\0" not in data or _HOLE not in data:  # one byte is found many times faster than eight
        return data
    return _ZEROS.sub(lambda match: b"" if match[1] is not None else "\ufffd".encode(), data)


def blocks(chunks: Iterable[bytes], size: int) -> Iterator[bytes]:
    """Cut a UTF-8 text into blocks of whole records of about `size` bytes, each ending in a line end.

    A block never ends inside a quoted cell, unless that cell is longer than :data:`LONGEST_CELL`.
    The last block ends in no line end if the file does not.
    """
    pending: list[bytes] = []
    pending_size = 0
    for chunk in chunks:
        pending.append(chunk)
        pending_size += len(chunk)
        if pending_size < size:
            continue
        data = b"".join(pending)
        cut = record_end(data)
        if not cut and len(data) > LONGEST_LINE:
            raise endless_line()
        pending, pending_size = [data[cut:]], len(data) - cut
        if cut:
            yield data[:cut]
    data = b"".join(pending)
    if data:
        yield data


def record_end(data: bytes) -> int:
    """Index after the last line end that is not inside quotes; 0 when there is none."""
    cut = data.rfind(b"\n") + 1
    if b'"' not in data or not data.count(b'"', 0, cut) % 2:
        return cut
    earlier = cut
    while earlier and cut - earlier < LONGEST_CELL:
        earlier = data.rfind(b"\n", 0, earlier - 1) + 1
        if not data.count(b'"', earlier, cut) % 2:
            continue
        return earlier
    return cut
