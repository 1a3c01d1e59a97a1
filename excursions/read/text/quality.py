"""Quality columns: OPC classic numbers, OPC UA codes and names, and words.

Classic: the two high bits of the low byte, 0 bad, 64 uncertain, 192 good (OPC Data Access, quality flags).
UA: the two high bits of 32, 0 good, 0x40000000 uncertain, 0x80000000 bad (OPC 10000-4, StatusCode), and a name
begins with its severity.  Words are common practice, no source (cp); of the device states of NAMUR NE 107 (from memory) a
failure and a function check are bad, out of specification is uncertain, and maintenance required leaves the signal valid.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from excursions.read.text.fold import plain
from excursions.read.text.words import STATE_WORDS
from excursions.records import BAD, GOOD, UNCERTAIN, ByteArray

NAMES = ("good", "uncertain", "bad")
_GOOD_WORDS = (
    "good ok okay valid success true yes normal fine measured gut gultig gueltig in_ordnung bueno valido bon valide buono valida bom "
    "betrieb messbetrieb messwert messung measuring in_betrieb in_operation en_service en_marcha in_funzione actual g o.k. maintenance_required wartungsbedarf good_clamped approved accepted a passed pass certified bra goed "
    "bonne bonnes correct correcte buena boa buona bun buna καλη καλο добро добър god godt bra dobry dobra dobre hyva jo iyi gecerli spravne platny platna prawidlowy poprawny i.o. хорошии хорошее норма норм tot baik ดี 良好 良 正常 好 有効 有效 合格 양호 정상 유효 좋음"
)
_UNCERTAIN_WORDS = (
    "uncertain questionable suspect doubtful estimated substituted substitute interpolated manual simulated annotated unsicher "
    "fraglich ersatzwert incierto incertain incerto provisional warning warn subnormal s q u sub-normal replaced forced ausserhalb_der_spezifikation "
    "p e provisional_data overridden out_of_specification last_usable_value incertaine douteux douteuse incierta dudoso dudosa "
    "incerta dubbio onzeker osaker usikker niepewny niepewna watpliwy nejista nejisty bizonytalan belirsiz supheli epavarma неопределенное сомнительно сомнительное недостоверно неопределенныи khong_chac_chan meragukan ไม่แน่นอน 不確定 不确定 疑問 可疑 推定 불확실 의심"
)
_BAD_WORDS = (
    "bad invalid false no error err fault failure failed fail missing nodata no_data not_connected offline comm_fail shutdown "
    "out_of_service schlecht ungultig ungueltig fehler gestort gestoert storung stoerung en_defaut averia guasto storing malo invalide mauvais cattivo ruim rejected "
    "comm_failure sensor_failure device_failure config_error function_check funktionskontrolle ausfall bad_input null none nan b "
    "i/o_timeout timeout stale disconnected mauvaise defaut defectueux mala cattiva invalida slecht darlig "
    "rau rea κακη κακο лошо лош zly zla zle dalig darlig spatna spatny rossz hibas ervenytelen kotu hatali gecersiz huono nieprawidlowy neplatny chyba blad fel ogiltig ugyldig ongeldig non_valido invalido nok not_ok n.i.o. niet_ok плохои плохое ошибка обрыв xau buruk rusak เสีย ไม่ดี 不良 異常 異常値 无效 無効 异常 坏 故障 欠測 欠损 断線 断线 通信異常 通讯故障 불량 이상 고장 오류 무효"
)
_WORDS: dict[str, int] = {
    plain(word).casefold(): quality
    for words, quality in ((_GOOD_WORDS, GOOD), (_UNCERTAIN_WORDS, UNCERTAIN), (_BAD_WORDS, BAD))
    for word in words.split()
}
_CLASSIC_MASK, _CLASSIC = 0xC0, {0x00: BAD, 0x40: UNCERTAIN, 0x80: BAD, 0xC0: GOOD}
_UA = {0: GOOD, 1: UNCERTAIN, 2: BAD, 3: BAD}


@dataclass(frozen=True, slots=True, kw_only=True)
class QualityPlan:
    """How the codes of a quality column are meant.

    scheme : ``words``, ``classic``, ``ua``, ``good_is_1``, ``good_is_0``, ``percent``, ``doubt``, ``true_is_good`` or
        ``true_is_bad`` (what is true is doubtful, good or bad: true and false, yes and no); words are known in all of them
    base : of the numbers: 10, or 16 and 2 where all are written with the same number of such digits
    usual : the text that stands in most rows, empty where none does
    own : the user's words, folded
    """

    scheme: str = "words"
    base: int = 10
    usual: str = ""
    own: Mapping[str, int] = field(default_factory=dict)


_TRUE_IS = {"true_is_good": {1.0: GOOD, 0.0: BAD}, "true_is_bad": {1.0: BAD, 0.0: GOOD}}


def user_words(words: Mapping[str, str]) -> dict[str, int]:
    """The user's mapping with folded words and quality codes; words that name no quality are left out."""
    return {
        fold_word(word): NAMES.index(name.lower()) for word, name in words.items() if name.lower() in NAMES
    }


def fold_word(text: str) -> str:
    """A status text without case, accents and blanks."""
    return re.sub(r"[\s]+", "_", plain(text).strip().strip("\"'()[]").strip().casefold())


_DIGITS = re.compile(r"[0-9A-Fa-f]+")
_BITS = re.compile(r"[01]{8}|[01]{16}")
_HEX = re.compile(r"[0-9A-Fa-f]{2}|[0-9A-Fa-f]{4}|[0-9A-Fa-f]{8}")
_DOUBTFUL = re.compile(r"questionable|suspect|substitut|doubt|fraglich|ersatz")


def base_of(texts: Iterable[str]) -> int:
    """Base of the numbers of a column of codes: 2 for ``11000000``, 16 for ``00C0``, else 10."""
    said = [
        text.strip() for text in texts if _DIGITS.fullmatch(text.strip()) and fold_word(text) not in _WORDS
    ]
    if not said or len({len(text) for text in said}) > 1:
        return 10
    if all(_BITS.fullmatch(text) for text in said):
        return 2
    lettered = any(not text.isdecimal() for text in said) or (
        len(said[0]) == 4 and all(t[0] == "0" for t in said)
    )
    return 16 if lettered and all(_HEX.fullmatch(text) for text in said) else 10


def scheme_of(texts: Iterable[str], header: str, usual: str = "") -> tuple[str, str]:
    """The scheme of a column from its distinct texts and its header, and the reason where it was a choice.

    usual : the text that stands in most of its rows, empty where none does
    """
    said = list(texts)
    base = base_of(said)
    numbers = {number for number in (_integer(text, base) for text in said) if number is not None}
    name = plain(header).casefold()
    if not numbers - {0, 1} and _DOUBTFUL.search(name):
        return "doubt", "the header names the doubtful state"
    if not numbers:
        return _of_true_and_false(said, name)
    if base != 10:
        return "ua" if max(numbers) >= 2**30 else "classic", f"digits of base {base}"
    if any(number >= 2**30 or number < 0 for number in numbers):
        return "ua", ""
    if "%" in name or "percent" in name or "pct" in name or any("%" in text for text in said):
        return "percent", "it says per cent good"
    if numbers & {192, 193, 194, 195, 216, 64, 68, 80, 84, 88}:
        return "classic", ""
    if numbers <= {0, 1}:
        return _of_zero_and_one(numbers, name)
    if numbers <= {0, 100}:
        return "percent", "0 and 100 only"
    if usual == "0" and max(numbers) < 2**16:
        return "good_is_0", "0 stands in most rows, and no code that is good in the OPC classic table"
    if max(numbers) > 3 and all(number % 4 == 0 for number in numbers) and numbers - {0}:
        return "classic", "numbers below 64 that are multiples of 4 are bad in the OPC classic table"
    return "good_is_0", f"numbers up to {max(numbers)}; 0 is taken as good, all else as bad"


_NAMES_BAD = re.compile(
    r"bad|fault|error|invalid|questionable|fehler|suspect|ungultig|ungueltig|non valid|not? ?(?:ok|valid|good)|nok"
)
_NAMES_GOOD = re.compile(r"good|valid|ok|gut|gultig|gueltig")


def _of_true_and_false(said: list[str], name: str) -> tuple[str, str]:
    """Words: what is true is good, or bad, where the header names that state and the words are true and false, yes and no."""
    if not said or not all(fold_word(text) in STATE_WORDS for text in said):
        return "words", ""
    if _NAMES_BAD.search(name):
        return "true_is_bad", "the header names the bad state"
    return ("true_is_good", "the header names the good state") if _NAMES_GOOD.search(name) else ("words", "")


def _of_zero_and_one(numbers: set[int], name: str) -> tuple[str, str]:
    if _NAMES_BAD.search(name):
        return "good_is_0", "the header names the bad state"
    if _NAMES_GOOD.search(name):
        return "good_is_1", "the header names the good state"
    if numbers == {1}:
        return "good_is_1", "1 throughout"
    return "good_is_0", "0 throughout, as in OPC UA" if numbers == {0} else "0 is good in OPC UA"


# 0x00C0, &H00C0, 16#00C0 and 2#1100_0000 as controllers write them, 00C0h
_BASED = re.compile(
    r"(?:0x|&h|16#)(?P<hex>[0-9a-f]{1,16})|2#(?P<bits>[01]{1,64})|(?P<ended>(?=\d)[0-9a-f]{2,16})h"
)


def _integer(text: str, base: int = 10) -> int | None:
    said = text.strip().casefold()
    if base != 10:
        return int(said, base) if _HEX.fullmatch(said) or _BITS.fullmatch(said) else None
    if match := _BASED.fullmatch(said.replace("_", "")):
        return int(match["bits"], 2) if match["bits"] else int(match["hex"] or match["ended"], 16)
    match = re.fullmatch(r"([+-]?[0-9]{1,18})(?:\.0*)?\s?%?", said)
    return int(match[1]) if match else None


def quality_of(text: str, plan: QualityPlan) -> int | None:
    """Quality of one status text, or None when it is not known."""
    folded = fold_word(text)
    if folded in plan.own:
        return plan.own[folded]
    folded = fold_word(_CODE_BEHIND.sub("", text[:_LONGEST])) or folded
    if plan.scheme == "doubt" and (folded in STATE_WORDS or folded in ("0", "1")):
        return UNCERTAIN if STATE_WORDS.get(folded, folded == "1") else GOOD
    if plan.scheme in _TRUE_IS and folded in STATE_WORDS:
        return _TRUE_IS[plan.scheme][STATE_WORDS[folded]]
    number = _integer(text, plan.base)
    if number is not None:
        return _of_number(number, plan.scheme)
    if not folded or folded in _WORDS:
        return _WORDS.get(folded, GOOD)
    return _of_words(folded)


_LONGEST = 200  # longer texts name no quality
_CODE_BEHIND = re.compile(r"\s*[(\[](?:0x[0-9A-Fa-f]{1,16}|\d{1,10})[)\]]\s*$")  # "BadTimeout (0x800A0000)"
_UA_NAME = re.compile(r"(?:Good|Uncertain|Bad)[A-Z][A-Za-z]+")


def is_quality_text(text: str) -> bool:
    """Whether a text is a quality by itself: a known word, a UA name, or a sentence that begins with a severity."""
    if len(text) > _LONGEST:
        return False
    said = _CODE_BEHIND.sub("", text).strip("\"'()[] ")
    return (
        fold_word(text) in _WORDS
        or bool(_UA_NAME.fullmatch(said))
        or bool(re.match(r"(?i)(good|uncertain|bad)(?![a-z])", said))
    )


def _of_number(number: int, scheme: str) -> int | None:
    if scheme == "ua" or number >= 2**30:
        return _UA[(number & 0xFFFFFFFF) >> 30]
    if scheme == "classic":
        return _CLASSIC[number & _CLASSIC_MASK]
    if scheme == "percent":
        return GOOD if number >= 100 else BAD if number <= 0 else UNCERTAIN
    if scheme == "good_is_1":
        return GOOD if number == 1 else BAD
    if scheme == "good_is_0":
        return GOOD if number == 0 else BAD
    return None


def _of_words(folded: str) -> int | None:
    """UA names and sentences ("BadSensorFailure", "Good, non-specific", "Quality: bad") by their first known word."""
    for start, quality in (("good", GOOD), ("uncertain", UNCERTAIN), ("bad", BAD)):
        if folded.startswith(start):
            return quality
    parts = re.split(r"[_\W]+", folded)
    return next((_WORDS[part] for part in parts if part in _WORDS and len(part) > 2), None)


def parse_quality(column: pl.Series, plan: QualityPlan) -> tuple[ByteArray, dict[str, tuple[int, bool]]]:
    """Quality (n,) of a column, and the distinct texts with what each was taken for and whether it was known.

    An empty cell is good: exports leave it out when there is nothing to say.  A text nobody knows is uncertain.
    """
    texts = _as_text(column)
    distinct = texts.unique(maintain_order=True).to_list()
    table: dict[str, tuple[int, bool]] = {}
    for text in distinct:
        meant = quality_of(text, plan)
        table[text] = (UNCERTAIN if meant is None else meant, meant is not None)
    if len(table) == 1:
        return np.full(len(texts), next(iter(table.values()))[0], np.uint8), table
    codes = texts.replace_strict({text: code for text, (code, _) in table.items()}, return_dtype=pl.UInt8)
    return codes.to_numpy().astype(np.uint8), table


def _as_text(column: pl.Series) -> pl.Series:
    if column.dtype == pl.Boolean:
        column = column.replace_strict({True: "true", False: "false"}, return_dtype=pl.String)
    elif column.dtype != pl.String:
        column = column.cast(pl.String, strict=False)
    return column.fill_null("")
