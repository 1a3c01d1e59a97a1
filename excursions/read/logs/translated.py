"""Words of logs and lists in languages without Latin letters, put into the English ones that the house reads.

Common practice, no source (cp).  A new word is added to its row; nothing else has to change.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from excursions.read.text.fold import plain

_TERMS: dict[str, str] = {
    "as found": "校正前|調整前|校准前|标定前|调整前|교정 전|교정전|до калибровки|до поверки|до настройки",
    "as left": "校正後|調整後|校准后|标定后|调整后|교정 후|교정후|после калибровки|после поверки|после настройки",
    "before": "до",
    "after": "после",
    "sampled at": "採取日時|採水日時|採取日|採水日|取样时间|采样时间|取样日期|采样日期|채취일시|채취일|дата отбора|дата и время отбора",
    "sample time": "время отбора|採取時刻|采样时刻|채취시각",
    "sampling point": "採取場所|採水場所|採取地点|採水地点|取样点|采样点|取样位置|采样位置|채취장소|채취지점|место отбора|точка отбора",
    "date": "校正日時|校正日|実施日|日時|日付|校准日期|标定日期|日期|교정일시|교정일|일시|날짜|дата",
    "time": "時刻|時間|时间|시간|время",
    "tag": "計器番号|タグ番号|タグ|位号|仪表位号|계기번호|태그|позиция|тег",
    "point": "測定点|測定場所|測点|测点|측정점|точка измерения|место установки",
    "serial": "製造番号|シリアル番号|シリアル|探头编号|传感器编号|电极编号|序列号|일련번호|серийный номер|заводской номер|зав. №",
    "sensor": "センサー|センサ|電極|探头|传感器|电极|센서|전극|датчик|электрод",
    "slope": "感度|スロープ|勾配|斜率|기울기|감도|крутизна|наклон",
    "zero point": "ゼロ点|零点|영점|нулевая точка|ноль|нуль",
    "offset": "オフセット|不斉電位|偏移|零位偏差|오프셋|смещение",
    "cell constant": "セル定数|电池常数|电极常数|电导池常数|셀 상수|셀상수|константа ячейки|постоянная ячейки",
    "buffer": "緩衝液|缓冲液|완충액|буферный раствор|буфер",
    "standard": "標準液|標準値|标准液|标准值|표준액|표준값|эталон|стандартный раствор",
    "reading": "指示値|測定値|读数|测量值|示值|지시값|측정값|показания|показание",
    "temperature": "温度|온도|температура",
    "remark": "備考|コメント|备注|비고|примечание|примечания|комментарий",
    "technician": "作業者|担当者|操作人|操作员|작업자|исполнитель",
    "cleaning": "洗浄実施|洗浄|清洗|세척|очистка|промывка",
    "replaced": "交換|更换|교체|замена",
    "calibration": "校正|校准|标定|교정|калибровка|настройка",
    "verification": "点検|検証|检查|验证|점검|поверка|проверка",
    "action": "作業内容|作業|工作内容|操作|类型|작업|операция|вид работ|работа",
    "result": "判定|分析値|結果|结果|分析结果|판정|결과|результат|заключение",
    "parameter": "項目|测试项目|项目|参数|항목|показатель|параметр",
    "unit": "単位|单位|단위|единица|ед. изм.",
}  # fmt: skip
_ENGLISH = {plain(term).casefold(): english for english, terms in _TERMS.items() for term in terms.split("|")}
_CYRILLIC = "а-яё"
_TERM = re.compile(
    "|".join(
        rf"(?<![{_CYRILLIC}]){re.escape(term)}(?![{_CYRILLIC}])"
        if re.match(f"[{_CYRILLIC}]", term)
        else re.escape(term)
        for term in sorted(_ENGLISH, key=lambda term: (-len(term), term))
    )
)


# Dutch: "na" behind a measuring word is after; alone it is a unit.
_DUTCH = re.compile(r"\b(gemeten|waarde|meetwaarde|uitlezing|aflezing|aanwijzing|meting)\s+(voor|na)\b")


@lru_cache(maxsize=16_384)
def english(text: str) -> str:
    """A plain text in small letters with the words known here in English; of texts of Latin letters only before and after in Dutch."""
    if text.isascii():  # accents are off, "vóór" is "voor"
        return _DUTCH.sub(lambda match: f"{match[1]} {'after' if match[2] == 'na' else 'before'}", text)
    return _TERM.sub(lambda match: f" {_ENGLISH[match[0]]} ", text)


# Dutch stresses before and after with accents: "vóór", "ná", composed or not.
_DUTCH_ACCENT = re.compile(r"(?i)\b(?:v(?:o\u0301|ó){2}r|n(?:a\u0301|á))(?!\w)")
_VOOR, _NA = re.compile(r"(?i)\bvoor\b"), re.compile(r"(?i)(?<![\[(])\bna\b(?![\])])")


_FOER, _EFTER = re.compile(r"(?i)\bfør\b"), re.compile(r"(?i)\bett?er\b|\befter\b")


def before_and_after(headers: Sequence[str]) -> Sequence[str]:
    """Before and after where they stand beside one another: Dutch ``Voor`` and ``Na``, alone "for" and a current, Danish ``Før`` and ``Efter``."""
    said = [_DUTCH_ACCENT.sub(lambda match: plain(match[0]), header) for header in headers]
    for first, second in ((_VOOR, _NA), (_FOER, _EFTER)):
        if any(map(first.search, said)) and any(map(second.search, said)):
            return [second.sub("after", first.sub("before", header)) for header in said]
    return headers
