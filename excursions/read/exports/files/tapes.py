"""Tar archives: their files are opened where they lie and never written to disk."""

from __future__ import annotations

import tarfile
from collections.abc import Callable, Iterator

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import clean
from excursions.read.exports.files.content import Content, Opened, start_of
from excursions.read.model import ReadOptions
from excursions.read.text.unpack import CutOff, is_zip, packed_inside, packing_of, stream_of

_MAGIC, _AT = b"ustar", 257
_MOST_MEMBERS = 10_000
_LARGEST = 2 * 2**30
_PIECE = 4 * 2**20


def is_tar(start: bytes) -> bool:
    """Whether bytes begin as a tar archive does."""
    return start[_AT : _AT + len(_MAGIC)] == _MAGIC


def tar_tables(
    content: Content, options: ReadOptions, open_content: Callable[[Content, ReadOptions], Opened]
) -> Opened:
    """The tables in the files of an archive; links and devices in it are passed by.

    Raises
    ------
    InputFileError
        If it is cut off or broken, behind its whole files; or holds archives or too many files.
    """
    try:
        with tarfile.open(fileobj=stream_of(content.chunks()), mode="r|") as archive:
            for number, member in enumerate(archive):
                if number >= _MOST_MEMBERS:
                    raise InputFileError(
                        found=f"an archive of more than {_MOST_MEMBERS} files", expected="fewer",
                        mend="unpack it and pass the folder", file=content.name,
                    )  # fmt: skip
                if member.isfile() and (member.size > _LARGEST or member.issparse()):
                    raise InputFileError(
                        found=f"a file of {member.size} bytes inside a tar archive", expected=f"at most {_LARGEST}, written out whole",
                        mend="unpack it and pass the file", file=f"{content.name}!{clean(member.name)}",
                    )  # fmt: skip
                stream = archive.extractfile(member) if member.isfile() else None
                if stream is not None and not member.name.rpartition("/")[2].startswith("."):
                    yield from _member(content, member, stream.read(), options, open_content)
    except (tarfile.TarError, CutOff, EOFError, ValueError) as error:
        raise InputFileError(
            found=f"a tar archive that is cut off or cannot be read ({error})", expected="a whole one",
            mend="copy or pack it again; the files before the damage were used", file=content.name,
        ) from error  # fmt: skip


def _member(
    content: Content, member: tarfile.TarInfo, data: bytes, options: ReadOptions, open_content: Callable[[Content, ReadOptions], Opened]
) -> Opened:  # fmt: skip
    name = f"{content.name}!{clean(member.name)}"

    def chunks() -> Iterator[bytes]:
        for begin in range(0, len(data), _PIECE):
            yield data[begin : begin + _PIECE]

    inside, inner = packed_inside(chunks, min(len(data), content.size), options)
    start = start_of(inside)
    if packing_of(start[:8]) is not None or is_tar(start) or (is_zip(start) and content.depth):
        raise InputFileError(
            found="a packed file inside an archive", expected="plain files in it", mend="unpack the archive and pass the folder", file=name
        )  # fmt: skip
    words = ", ".join(part for part in (inner, "tar", content.packing) if part)
    yield from open_content(
        Content(
            name=name,
            path=None,
            start=start,
            chunks=inside,
            size=len(data),
            packing=words,
            depth=content.depth + 1,
        ),
        options,
    )
