"""Words for what a reading stands for when it is more than one sample: an average, the least, the greatest.

They stand behind a signal's name (``AE9.PH max``), before it (``avg(AE9.PH)``), in a column of their own, in the name of the
file or above its table.  Common practice, no source (cp).
"""

from __future__ import annotations

import re
from functools import lru_cache

from excursions.read.text.fold import plain
from excursions.read.text.words import fold

AGGREGATES: dict[str, str] = {
    plain(word).casefold(): kind
    for kind, words in {
        "average": "avg|average|averages|averaged|mean|means|mittelwert|mittelwerte|mittel|durchschnitt|durchschnittswerte|moyenne|"
        "moyennes|moy|promedio|promedios|media|medie|medio|gemiddelde|gemiddelden|medel|medelvarde|gjennomsnitt|gennemsnit|"
        "srednia|prumer|keskiarvo|ortalama|atlag|twa|time weighted average|平均|平均値|平均值|среднее|сред",
        "least": "min|minimum|minimo|lowest|kleinstwert|niedrigster|最小|最小値|最小值|мин|минимум",
        "greatest": "max|maximum|maximo|massimo|highest|hochstwert|grosstwert|hochster|最大|最大値|最大值|макс|максимум",
        "spread": "std|stdev|stddev|standard deviation|standardabweichung|sigma|range|spannweite",
        "count": "count|samples|number|anzahl|nombre|percent good|pctgood",
        "total": "sum|total|totalizer|summe|somme|suma",
        "sample": "last|first|end|start|snapshot|interpolated|interpolation|raw|sampled|sample|actual",
    }.items()
    for word in words.split("|")
}
_BEHIND = re.compile(r"(?P<base>.+?)[\s._/\-:|]+\(?(?P<word>[^\W\d_]{3,14})\)?")
_BEFORE = re.compile(r"(?P<word>[^\W\d_]{3,14})(?:\s*\((?P<inside>.+)\)|[\s._/\-:|]+(?:of )?(?P<base>.+))")
_NUMBER_BEHIND = re.compile(
    r"(?:[:=]\s*[+-]?\d+(?:[.,]\d+)?|\s[+-]?\d+[.,]\d+)(?:\s?[^\W\d]{1,4}|\s?[%°]\S{0,3})?\s*$"
)
_AVERAGE_WORDS = {word for word, kind in AGGREGATES.items() if kind == "average"} - {
    "media",
    "medie",
    "medio",
    "means",
}
_LETTERS = re.compile(r"[^\W\d_]+")
# More words of the lines that sum up a table.
_TOTALS = re.compile(
    r"(?i)(?:grand ?|sub)?totals?|sums?|counts?|averages?|avg|means?|mini?(?:mum)?|maxi?(?:mum)?|median|st(?:andar)?d\W?dev\w*|"
    r"summe|anzahl|mittel(?:wert)?|gesamt|durchschnitt|anzahl zeilen|somme|moyenne|nombre|suma|promedio|soma|media|total general|"
    r"number of (?:rows|records|values)|row count|records?|rows|end of (?:file|data|report|export)|eof|ende"
)


def aggregate_of(name: str) -> tuple[str, str]:
    """A signal's name without its word for an aggregate, and the kind (a value of AGGREGATES); the kind is empty without one."""
    for pattern in (_BEHIND, _BEFORE):
        match = pattern.fullmatch(name)
        kind = AGGREGATES.get(plain(match["word"]).casefold(), "") if match else ""
        if match and kind:
            parts = match.groupdict()
            return (parts.get("base") or parts.get("inside") or "").strip(), kind
    return name, ""


@lru_cache(maxsize=4_096)
def sums_up(text: str) -> bool:
    """Whether a text alone is the word of a line that sums up the rows of a table: ``Mean``, ``Totals``, ``Anzahl Zeilen``."""
    said = fold(text) or text
    return AGGREGATES.get(said, "sample") != "sample" or bool(_TOTALS.fullmatch(said))


def says_averages(text: str) -> bool:
    """Whether a title, a name of a file or a line above a table says that its readings are averages.

    A line that gives an average ("Mean: 7.03") says nothing of the readings below it.
    """
    words = [plain(word).casefold() for word in _LETTERS.findall(text[:300])]
    return any(_is_average(word) for word in words) and not _NUMBER_BEHIND.search(text[:300])


def _is_average(word: str) -> bool:
    """An average's word, by itself or behind another one as German and its neighbours write it (``Minutenmittelwerte``)."""
    return word in _AVERAGE_WORDS or word.endswith(("mittelwert", "mittelwerte", "medelvarde", "gemiddelde"))


# How a description carries that a signal's readings are averages, wherever descriptions go.
_NOTE = re.compile(r"\s*\(averages: (?P<why>[^()]{1,200})\)$")


def with_note(description: str, why: str) -> str:
    """The description with a note that the readings are averages, and what says so; without `why` as it is."""
    return f"{description} (averages: {re.sub('[()]', ' ', why)[:200]})".strip() if why else description


def noted(description: str) -> tuple[str, str]:
    """A description without the note of :func:`with_note`, and what says that the readings are averages, or empty."""
    match = _NOTE.search(description)
    return (description[: match.start()], match["why"]) if match else (description, "")
