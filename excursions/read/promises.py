"""Whether a file that may be an export, or what a program or a person says of itself, holds readings: by its first lines."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from excursions.read.exports.files.jsonshapes import is_odd
from excursions.read.exports.files.jsontext import is_json, is_topics
from excursions.read.exports.files.webtext import is_web_page
from excursions.read.exports.files.xmltext import is_xml
from excursions.read.exports.files.yamltext import is_yaml

_MOMENT = re.compile(
    r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}[T ]+\d{1,2}:\d{2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}[T ,;|\t]+\d{1,2}:\d{2}|\d{1,2}[- ][A-Za-z]{3,9}[- ,]+\d{4}[T ]+\d{1,2}:\d{2}|(?<!\d)1[0-9]{9}(?:\d{3})?(?!\d)"
)
_MOMENT_WHOLE = re.compile(rf"(?:{_MOMENT.pattern})(?::\d{{2}})?(?:[.,]\d+)?[^\s=;,|]*")
_NEARLY_ALL, _FEW_WORDS = 0.9, 4
_NUMBER = re.compile(r"\s*[\"']?[+-]?\d+(?:[.,]\d+)?[\"']?\s*")
_PERHAPS_BYTES = 8_192
_FEWEST_MOMENTS = 3


def promises_readings(path: Path) -> bool:
    """Whether the first lines of a file repeat a time beside a cell that is a number, or are JSON with times."""
    try:
        with path.open("rb") as raw:
            head = raw.read(_PERHAPS_BYTES).decode("utf-8-sig", errors="replace")
    except OSError:
        return False
    moments, data = len(_MOMENT.findall(head)), head.encode()
    if moments and is_json(data) and is_odd(data):
        return True
    if moments < _FEWEST_MOMENTS:
        return False
    if any(is_kind(data) for is_kind in (is_json, is_topics, is_xml, is_web_page, is_yaml)):
        return True
    lines = [line for line in head.splitlines()[:-1] if _MOMENT.search(line)]
    numbers = sum(any(_NUMBER.fullmatch(cell) for cell in re.split(r"[,;\t|]", line)) for line in lines)
    return numbers >= 0.8 * len(lines) > 0 or _are_alike(lines)


def _are_alike(lines: Sequence[str]) -> bool:
    """Whether nearly all lines have as many words as one another, a number among them besides the time.

    More than a few words are a sentence, unless they are name=value.
    """
    cells = [re.split(r"[=\s]+", _MOMENT_WHOLE.sub(" ", line).strip()) for line in lines]
    counts = Counter(map(len, cells))
    numbers = sum(any(_NUMBER.fullmatch(cell) for cell in row) for row in cells)
    words, usual = counts.most_common(1)[0] if counts else (0, 0)
    named = sum("=" in line for line in lines) >= _NEARLY_ALL * len(lines)
    if words > _FEW_WORDS and not named:
        return False
    return min(numbers, usual) >= _NEARLY_ALL * len(lines) > 0
