"""The words exports use for their columns, and what texts in place of a number mean.  Common practice, no source (cp)."""

from __future__ import annotations

import re

from excursions.read.text.fold import plain

_ROLE_WORDS: dict[str, str] = {
    "time": "time|times|timestamps|timestamp|time stamp|datetime|date time|date and time|ts|t|utc|utc time|time utc|when|zeit|"
    "zeitstempel|zeitpunkt|datum zeit|datum uhrzeit|datum und uhrzeit|datumzeit|fecha hora|fecha y hora|marca de tiempo|"
    "horodatage|date heure|date et heure|data ora|data e ora|data hora|data e hora|tijd|tijdstip|tid|tidpunkt|"
    "source time|source timestamp|local time|sample time|sampled at|event time|start time|start|from|begin|"
    "time local|date time utc|timestamp utc|timestamp local|measured at|recorded at|logged at|epoch|unix time|"
    "epoch s|epoch ms|ole date|ole time|excel date|excel time|serial date|date serial|serial|datenum|"
    "time string|unix|unix timestamp|aika|czas|cas|datum a cas|idopont|zaman|zaman damgasi|tarih saat|время|дата и время|時刻|thoi gian|waktu|เวลา|时间|日時|采集时间|记录时间|測定日時|記録日時|시간|일시|측정시간|측정일시|temps",
    "date": "date|datum|fecha|jour|day|data|dato|tag datum|dia|päivä|tarih|jdate|julian date|julian day|yyyyddd|ngay|tanggal|วันที่|дата|日付|日期|날짜|일자",
    "clock": "time|time of day|clock|zeit|uhrzeit|hora|heure|ora|hour|klokkeslett|tijd|klockslag|saat|godzina|время|時刻|時間|시각",
    "late_time": "end time|end|until|to|server time|server timestamp|receive time|received|inserted at|inserted|stored at|entered|entered at|created|created at|updated|updated at|modified|"
    "insert time|insert timestamp|insertion time|ingest time|ingested at|ingestion time|arrival time|received at|received time|receive timestamp|"
    "upload time|uploaded at|load time|loaded at|storage time|store time|archive time|archived at|write time|written at|db time|db timestamp|"
    "entry time|update time|last update|last updated|last modified|modified at|modified time|creation time|processed at|processing time|export time|"
    "exported at|print time|ende|bis|endzeit|eingangszeit|empfangszeit|speicherzeit|empfangen|gespeichert|hasta|fin|fine|fino a|hora fin|heure fin|"
    "heure reception|date insertion|fecha insercion|tot|einde|do|koniec|slut|till|ate|fim",
    "source_time": "source time|source timestamp|sample time|sample timestamp|sampled at|measured at|measurement time|measuring time|event time|"
    "acquisition time|device time|device timestamp|field time|messzeit|messzeitpunkt|heure de mesure|hora de medida|hora de medicion|測定日時|采集时间",
    "tag": "tag|topic|tagname|tag name|tag id|tagid|point|pointname|point name|point id|pointid|item|item id|itemid|item name|"
    "name|nom|nome|naam|namn|navn|nazwa|nimi|signal|signal name|signalname|sensor|sensor id|sensor name|channel|channel name|variable|variable name|"
    "varname|var|series|node|node id|nodeid|path|object|object name|messstelle|kennzeichen|kennzeichnung|"
    "bezeichnung|kanal|messpunkt|signalname|kks|punto|etiqueta|nombre|repere|attribute|metric|loop|instrument|"
    "measuring point|measurement point|parameter|parameter name|parameter code|datapoint|data point|mp|pnr|"
    "tag no|tag nr|tag number|tag num|point no|point nr|point number|sensor no|sensor nr|channel no|channel nr|signal no|signal nr|"
    "series name|source|field|symbol|address|adresse|adress|measurand|quantity|tag index|tagg|taggnamn|matpunkt|meetpunt|znacznik|zmienna|znacka|promenna|cimke|"
    "valtozo|etiket|degisken|tunniste|the|แท็ก|тег|параметр|сигнал|переменная|точка|タグ|タグ名|タグ名称|点名|变量|标签|位号|测点|測定点|計器番号|태그|태그명|변수",
    "milliseconds": "ms|msec|millitm|millis|millisec|millisecond|milliseconds|time ms|millisekunden",
    "place": "site|station|device|device id|equipment|location|plant|asset|area|unit name|site no|site id|anlage|"
    "gerat|standort|ort|logger|host|system|section|usine|sitio|設備|装置|场站|设备",
    "value": "value|val|values|reading|readings|wert|messwert|valor|valeur|valore|waarde|varde|verdi|pv|process value|"
    "measurement|measured value|measure|data value|numeric value|num value|istwert|result|y|actual value|"
    "value num|var value|float value|arvo|wartosc|gia tri|nilai|ค่า|значение|値|值|current value|data|測定値|计测值|测量值|数值|meetwaarde|matvarde|hodnota|ertek|deger|값|측정값",
    "average": "avg|average|mean|mittelwert|mittel|promedio|media|moyenne|medio",
    "other_figure": "min|max|minimum|maximum|std|stdev|stddev|count|samples|sum|range|median|"
    "raw|raw value|rohwert|duration|delta|setpoint|sp",
    "quality": "quality|qual|q|status|state|valid|validity|is valid|qualitat|qualitaet|gultig|gueltig|calidad|qualite|"
    "qualita|qualidade|flag|flags|good|isgood|is good|good bad|opc quality|opcquality|quality code|qualitycode|"
    "status code|statuscode|guete|gute|value status|value quality|data quality|substatus|zustand|quality flag|qc|qc flag|percent good|pctgood|pct good|"
    "kwaliteit|estado|kvalitet|kvalita|calitate|ποιοτητα|jakosc|laatu|minoseg|kalite|durum|stan|stav|allapot|toestand|invalid|is invalid|bad|not valid|error flag|ungueltig|ungultig|invalide|non valido|invalido|statut|stato|confidence|condition|qualifier|qs|st|questionable|suspect|substituted|is bad|is questionable|ok|ok nok|in ordnung|chat luong|kualitas|คุณภาพ|品質|状態|ステータス|质量|品质|状态|качество|статус|품질|상태",
    "aggregate": "aggregate|aggregation|aggregate type|aggregation type|statistic|statistics|summary|summary type|"
    "retrieval|retrieval mode|calculation|aggregat|aggregation function|kennwert|agregado|agregation|statistique",
    "unit": "unit|units|uom|eu|engineering unit|engineering units|eng unit|eng units|einheit|einh|unidad|unidades|"
    "unite|unites|unita|unidade|eenheid|enhet|unit of measure|単位|单位|единица|ед изм",
    "description": "description|desc|descriptor|beschreibung|descripcion|descriptif|descricao|descrizione|comment|"
    "comments|kommentar|bemerkung|remark|remarks|note|notes|text|label|long name|annotation|longname|langtext|event",
    "index": "index|idx|no|nr|row|row no|rownum|row number|line|line no|lfd nr|lfdnr|record|record no|seq|sequence|"
    "sequence number|scan|scan no|scan number|rec|rec no|recno|satz|satznr|count|counter|id|record id|row id|unnamed 0|level 0|index level 0|n",
}
ROLES: dict[str, frozenset[str]] = {
    role: frozenset(plain(word).casefold() for word in words.split("|"))
    for role, words in _ROLE_WORDS.items()
}

HOUR_NAMES = frozenset(
    (
        "hour",
        "hours",
        "hh",
        "hr",
        "h",
        "stunde",
        "heure",
        "hora",
        "ora",
        "uur",
        "std",
        "uhr",
        "godz",
        "hod",
        "timme",
        "час",
        "時",
        "时",
        "시",
    )
)
CLOCK_NAMES = HOUR_NAMES | {"hhmm", "hhmmss", "hh mm", "hour minute"}
# Names of a column that holds times of day and nothing else.
CLOCKS_ONLY = ROLES["clock"] - ROLES["time"]
_KNOWN_BAD = frozenset(
    plain(word).casefold()
    for word in [
        "bad",
        "no data",
        "nodata",
        "i/o",
        "io",
        "i/o timeout",
        "i/o error",
        "shutdown",
        "comm fail",
        "comm failure",
        "comm error",
        "communication failure",
        "not connected",
        "bad input",
        "no result",
        "calc failed",
        "calc off",
        "pt created",
        "scan off",
        "scan timeout",
        "out of service",
        "configure",
        "error",
        "err",
        "fault",
        "failure",
        "failed",
        "fail",
        "invalid",
        "offline",
        "off-line",
        "off line",
        "timeout",
        "time out",
        "overflow",
        "underflow",
        "over range",
        "under range",
        "overrange",
        "underrange",
        "out of range",
        "over",
        "under",
        "n/a",
        "na",
        "nan",
        "null",
        "none",
        "nil",
        "missing",
        "no value",
        "no good data",
        "not available",
        "unavailable",
        "no sample",
        "stale",
        "sensor fault",
        "sensor failure",
        "open circuit",
        "wire break",
        "short circuit",
        "device failure",
        "inf",
        "infinity",
        "-inf",
        "-infinity",
        "#n/a",
        "#na",
        "#value!",
        "#div/0!",
        "#ref!",
        "#num!",
        "#name?",
        "#null!",
        "disconnected",
        "comm",
        "no comm",
        "gestort",
        "storung",
        "ungultig",
        "fehler",
        "kein wert",
        "keine daten",
        "ausfall",
        "drahtbruch",
        "keine messung",
        "nicht verfugbar",
        "aucune donnee",
        "non disponible",
        "sin dato",
        "no disponible",
        "sem dados",
        "nessun dato",
        "nessun valore",
        "geen data",
        "geen gegevens",
        "ingen data",
        "brak danych",
        "zadna data",
        "nincs adat",
        "ei tietoa",
        "veri yok",
        "нет данных",
        "обрыв",
        "データなし",
        "欠測",
        "无数据",
        "無数据",
        "데이터 없음",
        "sin datos",
        "error de comunicacion",
        "pas de donnees",
        "defaut",
        "maintenance",
        "wartung",
        "calibration",
        "not available yet",
        "blank",
        "(null)",
        "<null>",
        "-",
        "--",
        "---",
        "----",
        "*",
        "**",
        "***",
        "****",
        "?",
        "??",
        "???",
        ".",
        "..",
        "...",
        "x",
        "nd",
        "n.d.",
        "n.a.",
        "bad value",
        "bad quality",
        "quality bad",
        "nan(ind)",
        "1.#qnan",
        "-1.#ind",
        "1.#inf",
        "1.#nan",
        "-1.#inf",
    ]
)
_HASHES = re.compile(r"[#*?!.\-_ =/\\]+")
# What spreadsheets of any language write for an error: #NV, #WERT!, #¡VALOR!, #N/D, #DEĞER!
_SHEET_ERROR = re.compile(r"#\W?[^\W\d](?:[^\W\d]|[/_]){0,20}(?:/0)?[!?]?")

# Two-state signals (hold flags, wash valves) come as words; which of the two is the active one.
STATE_WORDS: dict[str, float] = {
    **dict.fromkeys(
        ("on", "true", "yes", "active", "open", "opened", "running", "run", "started", "high", "ein", "an", "ja",
         "aktiv", "offen", "auf", "wahr", "y", "t", "hold", "enabled", "si", "oui", "vrai", "verdadero", "verdadeiro", "vero",
         "marche", "sim", "tak", "prawda", "tosi", "sant", "waar", "да", "вкл", "истина", "开", "開", "運転", "运行"),
        1.0,
    ),
    **dict.fromkeys(
        ("off", "false", "no", "inactive", "closed", "close", "stopped", "stop", "idle", "low", "aus", "nein",
         "inaktiv", "geschlossen", "zu", "falsch", "n", "f", "disabled", "non", "faux", "falso", "arret", "nao", "nie",
         "falsz", "epatosi", "falskt", "onwaar", "нет", "выкл", "ложь", "关", "閉", "停止"),
        0.0,
    ),
}  # fmt: skip


def fold(text: str) -> str:
    """A header without case, accents, units in brackets and punctuation."""
    bare = re.sub(r"[\[(].*?[\])]", " ", text)
    bare = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", bare) if not bare.isupper() else bare
    return " ".join(re.sub(r"[_\W]+", " ", plain(bare).casefold()).split())


def roles_of(header: str) -> frozenset[str]:
    """Every role a header may name; empty when it is none of the known words."""
    if len(header) > 100:
        return frozenset()
    folded, joined = fold(header), fold(header).replace(" ", "")
    found = frozenset(role for role, words in ROLES.items() if folded in words or joined in words)
    if not found and (end := _TIME_END.search(folded)):  # "t_ms", "received_at_utc"
        return _TIMES & roles_of(folded[: end.start()])
    if not found and (end := _CODED.search(folded)):  # "state_code", "status bits"
        return _QUALITY & roles_of(folded[: end.start()])
    return found


_TIMES = frozenset(("time", "date", "late_time", "source_time"))
_QUALITY = frozenset(("quality",))
_CODED = re.compile(r" (?:codes?|bits?|bytes?|words?|mask|flags?|hex|text|string|label)$")
_TIME_END = re.compile(r"(?: (?:ms|us|ns)|(?<=\w\w) (?:s|sec|utc|gmt|local|epoch|unix))$")


def is_status_text(text: str) -> bool:
    """Whether a text is one of the usual words for a missing or bad value."""
    folded = plain(text).strip().casefold()
    return (
        folded in _KNOWN_BAD
        or bool(_HASHES.fullmatch(folded) or _SHEET_ERROR.fullmatch(folded))
        or bool(re.match(r"bad(?![a-z])", folded))
    )


_DITTO = re.compile(r"(?i)[-–—]{0,2}\s?(?:[\"„“”″〃]{1,2}|')\s?[-–—]{0,2}|ditto|dito|do\.|dto\.|idem|id\.")

_DITTO_ENDS = frozenset("\"'„“”″〃-–—oOmM. ")  # no figure ends so: most cells are told at once


def is_ditto(text: str) -> bool:
    """Whether a cell is the mark that people write for what stands above it."""
    return text[-1:] in _DITTO_ENDS and _DITTO.fullmatch(text.strip()) is not None
