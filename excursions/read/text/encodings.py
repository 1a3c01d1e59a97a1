"""The encoding of a text that is neither UTF-8 nor UTF-16: told by the words of the trade in it, else by its script.

Nearly every byte means something in every one of these encodings, so decoding alone decides nothing.
"""

from __future__ import annotations

import re

from excursions.read.text.quality import is_quality_text
from excursions.read.text.words import roles_of

USUAL = "cp1252"
_BY_WORDS = ("cp932", "gb18030", "cp949", "big5", "cp1251", "cp1250", "cp1254", "cp1253", "koi8-r", "cp866")
_LINES = 40
_FEWEST_KNOWN = 2
_CELLS = re.compile(r"[,;\t|\n:]")
_WORD = re.compile(rb"[A-Za-z\x80-\xff]+")
# Marks of Windows-1252 that stand by themselves: quotes, dashes, blanks, degrees, powers, micro.
_MARKS = frozenset(
    b"\x80\x82\x84\x85\x8b\x91\x92\x93\x94\x95\x96\x97\x99\x9b\xa0\xab\xb0\xb1\xb2\xb3\xb5\xb7\xb9\xba\xbb\xd7"
)
# What would be a mark of Windows-1252 in the middle of a word is a letter of the DOS code page.
_DOS = re.compile(rb"[A-Za-z][\x81-\x84\x87-\x89\x8b\x8d\x90\x94\x99\x9b\x9d][a-z]")
_SINGLE = (("cp1251", "оеаинтсрвлкмдпуя"), ("koi8-r", "оеаинтсрвлкмдпуя"), ("cp866", "оеаинтсрвлкмдпуя"), ("cp1253", "αοιετσνηυρπκλ"))  # fmt: skip
_HANGUL_ENOUGH = 8  # half of the common Chinese letters are bytes that are Korean ones too


def encoding_by_content(head: bytes) -> str:
    """The likeliest encoding of a text that begins so; Windows-1252 where nothing speaks for another."""
    lines = b"\n".join(head.splitlines()[:_LINES])
    if lines.isascii():
        return USUAL
    known = {name: _known_words(lines, name) for name in (USUAL, *_BY_WORDS)}
    best = max(_BY_WORDS, key=lambda name: known[name])
    if known[best] >= max(_FEWEST_KNOWN, known[USUAL] + 1):
        return best
    words = _WORD.findall(lines)
    foreign = [word for word in words if _is_foreign(word)]
    latin = sum(not _is_foreign(word) and any(b >= 0x80 and b not in _MARKS for b in word) for word in words)
    if foreign and not latin:
        return _by_script(foreign, lines) or USUAL
    if _is_of_the_mac(lines, ends_in_cr=b"\n" not in head):
        return "mac_roman"
    return (
        "cp850"
        if _DOS.search(lines) and not re.search(rb"[A-Za-z][\xc0-\xe0\xe2-\xff][a-z]", lines)
        else USUAL
    )


# Letters that Western languages write in the middle of a word, and the degree sign before its scale.
_WESTERN = frozenset("äöüßéèêëàáâãåçñíìîïóòôõøúùûæœý")
_WRITTEN = re.compile(r"[^\W\d_]+|°(?=[CF]\b)|¡(?=[CF]\b)")


def _written_well(lines: bytes, name: str) -> tuple[int, int]:
    """Words with letters beyond the plain ones that are written as words are, and those that are not, when read so."""
    text = lines.decode(name, errors="replace").replace("µ", "")
    words = [word for word in _WRITTEN.findall(text) if not word.isascii()]
    well = sum(
        word == "°"
        or (
            (word.islower() or word.isupper() or word.istitle())
            and all(char.isascii() or char in _WESTERN for char in word.lower())
        )
        for word in words
    )
    return well, len(words) - well


def _is_of_the_mac(lines: bytes, *, ends_in_cr: bool) -> bool:
    """Whether words are ill written in Windows-1252 (``TempŽrature``, ``¡C``) and all well in the old encoding of the Mac.

    The DOS code page goes before it where it does as well, unless the lines end as they did on the Mac.
    """
    (well, ill), (other, ill_there) = _written_well(lines, "mac_roman"), _written_well(lines, "cp850")
    if not _written_well(lines, USUAL)[1] or ill or not well:
        return False
    return bool(ill_there) or other < well or (ends_in_cr and other == well)


def _known_words(lines: bytes, name: str) -> int:
    """How many different words that are not plain ASCII name columns or qualities when read so.

    One in Chinese characters counts for two: bytes of another encoding hardly ever spell one.
    """
    try:
        text = lines.decode(name)
    except UnicodeDecodeError:
        return 0
    words = {word.strip(" \"'#") for word in _CELLS.split(text)}
    known = [
        word
        for word in words
        if not word.isascii() and len(word) > 1 and (roles_of(word) or is_quality_text(word))
    ]
    return len(known) + sum(all("\u4e00" <= char <= "\u9fff" for char in word) for word in known)


def _is_foreign(word: bytes) -> bool:
    """Two letters or more and none of them plain: Western languages write accents between plain letters."""
    return len(word) > 1 and all(b >= 0x80 for b in word) and any(b not in _MARKS for b in word)


def _by_script(words: list[bytes], lines: bytes) -> str:
    """The encoding in which all of these words are letters of one script, written as words are."""
    fits = [(share, -rank, name) for rank, (name, common) in enumerate(_SINGLE) if (share := _likeness(words, name, common)) > 0]  # fmt: skip
    if fits:
        return max(fits)[2]
    for name in ("gb18030", "cp932", "cp949"):
        try:
            letters = [char for char in lines.decode(name) if not char.isascii()]
        except UnicodeDecodeError:
            continue
        hangul = sum("\uac00" <= char <= "\ud7a3" for char in lines.decode("cp949", errors="replace"))
        if hangul == len(letters) and hangul >= _HANGUL_ENOUGH:
            return "cp949"
        if all(
            "\u3000" <= char <= "\u9fff" or "\uff00" <= char <= "\uffef" or char in "℃°µ·" for char in letters
        ):
            return name
    return ""


def _likeness(words: list[bytes], name: str, common: str) -> float:
    """Share of the script's common letters among all; zero where a word is none, such as one with capitals inside it."""
    texts = [word.decode(name, errors="replace") for word in words]
    if not all(text.isalpha() and (text.islower() or text.isupper() or text.istitle()) for text in texts):
        return 0.0
    letters = "".join(texts).casefold()
    return sum(letter in common for letter in letters) / len(letters)
