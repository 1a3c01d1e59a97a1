"""What can soundly be used of containers that were cut off, and words for those of which nothing can.

A zip archive says at its end what it holds, but each member begins with a head of its own and ends by itself where it is
deflated (PKWARE APPNOTE 4.3), so whole members, and the last one up to the cut, can be used.  An Arrow file holds the same
messages as an Arrow stream (Apache Arrow columnar format, "IPC File Format"), so its whole batches can be used.  A Parquet
file says at its end where its columns are and of which type, a workbook keeps its texts apart from its cells: cut off,
nothing of them can be read without guessing.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO

from excursions.errors import InputFileError
from excursions.read.text.unpack import CutOff

_LOCAL = b"PK\x03\x04"
_HEAD_BYTES = 30
_ENCRYPTED, _SIZE_BEHIND, _UTF8 = 0x1, 0x8, 0x800
_STORED, _DEFLATED = 0, 8
_CHUNK = 1 << 20
_UNKNOWN = 0xFFFFFFFF
_MARK = b"\xff\xff\xff\xff"  # begins an Arrow message
_LONGEST_SCHEMA = 16 * 2**20


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A member found by its own head: where its content begins, how it is packed, its bytes as stored (None: not said)."""

    name: str
    start: int
    method: int
    size: int | None
    checksum: int | None


def heads(raw: IO[bytes]) -> Iterator[Found]:
    """Members of a zip archive whose directory is missing, in order, up to the cut."""
    position = 0
    while True:
        raw.seek(position)
        head = raw.read(_HEAD_BYTES)
        if len(head) < _HEAD_BYTES or not head.startswith(_LOCAL):
            return
        flags, method, _, _, checksum, packed, _, name_bytes, extra_bytes = struct.unpack(
            "<HHHHIIIHH", head[6:]
        )
        name = raw.read(name_bytes).decode("utf-8" if flags & _UTF8 else "cp437", errors="replace")
        start = position + _HEAD_BYTES + name_bytes + extra_bytes
        known = not flags & _SIZE_BEHIND and packed != _UNKNOWN
        if flags & _ENCRYPTED or method not in (_STORED, _DEFLATED) or (method == _STORED and not known):
            return
        if not name.endswith("/"):
            yield Found(
                name=name, start=start, method=method, size=packed if known else None, checksum=checksum if known else None
            )  # fmt: skip
        position = start + packed if known else _next_head(raw, start)
        if position <= start and not known:
            return


def _next_head(raw: IO[bytes], start: int) -> int:
    """Where the next member begins behind a deflated one of unknown size; 0 when there is none."""
    raw.seek(start)
    inflate = zlib.decompressobj(-zlib.MAX_WBITS)
    used = 0
    try:
        while not inflate.eof:
            piece = raw.read(_CHUNK)
            if not piece:
                return 0
            data = inflate.decompress(piece, _CHUNK)
            while inflate.unconsumed_tail and not inflate.eof:
                data = inflate.decompress(inflate.unconsumed_tail, _CHUNK)
            del data
            used += len(piece)
    except zlib.error:
        return 0
    end = start + used - len(inflate.unused_data)
    raw.seek(end)
    behind = raw.read(28).find(_LOCAL)  # a descriptor of 12 to 24 bytes stands between
    return end + behind if behind >= 0 else 0


def content(raw: IO[bytes], member: Found) -> Iterator[bytes]:
    """Chunks of a member, unpacked.

    Raises
    ------
    CutOff
        Where it ends before its end, after what came before.
    """
    raw.seek(member.start)
    left = member.size if member.size is not None else -1
    inflate = zlib.decompressobj(-zlib.MAX_WBITS) if member.method == _DEFLATED else None
    checksum = 0
    while left and not (inflate and inflate.eof):
        piece = raw.read(_CHUNK if left < 0 else min(_CHUNK, left))
        if not piece:
            raise CutOff("zip")
        left -= len(piece) if left > 0 else 0
        while piece:
            try:
                data = inflate.decompress(piece, _CHUNK) if inflate else piece
            except zlib.error as error:
                raise CutOff("zip") from error
            piece = inflate.unconsumed_tail if inflate and not inflate.eof else b""
            checksum = zlib.crc32(data, checksum)
            if data:
                yield data
    if (inflate and not inflate.eof) or (member.checksum is not None and member.checksum != checksum):
        raise CutOff("zip")


def cut_archive(used: int) -> InputFileError:
    """What is to be said of an archive of which so many members could be used."""
    return InputFileError(
        found="a zip archive that is cut off: the list of its files, which stands at its end, is missing",
        expected="a whole archive",
        mend=f"copy it again; until then the {used} files found by their own heads are used, the last one up to the cut"
        if used
        else "copy it again; no file in it begins before the cut",
    )


def cut_workbook() -> InputFileError:
    """Why nothing of a workbook that is cut off is used."""
    return InputFileError(
        found="a workbook that is cut off: the list of its parts, which stands at its end, is missing, and with it texts "
        "and dates, which a workbook keeps apart from its cells",
        expected="a whole workbook",
        mend="copy it again; if there is no other, let the spreadsheet program repair it and save it as CSV",
    )


def cut_parquet(several: int = 0) -> InputFileError:
    """Why nothing of a Parquet file that is cut off is used; `several` files of a data set."""
    what = f"{several} Parquet files that are" if several > 1 else "a Parquet file that is"
    return InputFileError(
        found=f"{what} cut off: where its columns lie and what they hold stands at its end, which is missing",
        expected="a whole Parquet file",
        mend="copy or export it again; nothing in it can be read without its end"
        + ("; the other files of the data set are used" if several else ""),
    )


def whole_messages(data: bytes) -> bytes:
    """The messages of an Arrow file that are whole, as an Arrow stream."""
    position = start = 8 if data.startswith(b"ARROW1") else 0
    schema = b""
    if data[start : start + 4] != _MARK:  # some writers put no frame around the message of the schema
        first = data.find(_MARK, start, start + _LONGEST_SCHEMA)
        if first < 0:
            return b""
        schema, position, start = _framed(data[start:first]), first, first
    while position + 8 <= len(data):
        mark, size = struct.unpack_from("<II", data, position)
        if mark != _UNKNOWN or not size or position + 8 + size > len(data):
            break
        body = _body_bytes(data[position + 8 : position + 8 + size])
        if body is None or position + 8 + size + body > len(data):
            break
        position += 8 + size + body
    return schema + data[start:position] + struct.pack("<II", _UNKNOWN, 0)


def _framed(message: bytes) -> bytes:
    """A message as a stream frames it: mark, length, content up to a multiple of eight bytes."""
    padded = message.ljust((len(message) + 7) // 8 * 8, b"\0")
    return _MARK + struct.pack("<I", len(padded)) + padded


def _body_bytes(message: bytes) -> int | None:
    """Bytes of the body behind a message: the fourth field of its flatbuffer table (Arrow `Message.fbs`)."""
    try:
        (root,) = struct.unpack_from("<I", message, 0)
        (back,) = struct.unpack_from("<i", message, root)
        table = root - back
        (length,) = struct.unpack_from("<H", message, table)
        offset = struct.unpack_from("<H", message, table + 10)[0] if length >= 12 else 0
        return int(struct.unpack_from("<q", message, root + offset)[0]) if offset else 0
    except struct.error:
        return None
