"""The trade's words in tag names and descriptions, folded (no case, no accents).

Abbreviations and words of other languages are common practice, no source (cp).  Each row
holds whole tokens, then beginnings of tokens (for compounds and endings).
"""

from __future__ import annotations

from excursions.measurands import MEASURANDS
from excursions.read.text.fold import plain
from excursions.read.text.vocabulary import words

Row = tuple[frozenset[str], tuple[str, ...]]

ROLES: dict[str, Row] = {
    "temperature": (
        words("temp tmp tem tempc tempf pt100 pt1000 degc degf"),
        (
            "temperat",
            "teplot",
            "sicaklik",
            "homersek",
            "lampotil",
            "температур",
            "θερμοκρασ",
            "温度",
            "溫度",
            plain("온도"),
        ),
    ),
    "hold": (
        words("hold held halten freeze frozen gel fige congelado congelar maint service wartung hld cal kal"),
        ("maintenan", "mantenim", "manuten", "halte", "gehalten", "kalib", "calib", "retenc", "retenid"),
    ),
    "wash": (
        words("wash cip sip clean rinse spray flush lav wv spul spuel waschen"),
        (
            "clean",
            "reinig",
            "spul",
            "spuel",
            "wasch",
            "lavad",
            "lavag",
            "nettoy",
            "limpez",
            "limpie",
            "enjuag",
        ),
    ),
    "pressure": (
        words("press druck prs psig psia barg bara"),
        ("pressur", "presion", "pressao", "pression"),
    ),
    "status": (
        words("status stat sts state zustand etat estado diag health fault err error quality qual qc sta"),
        ("storung", "stoerung", "defaut", "diagnos", "fehler"),
    ),
    "setting": (
        words("sp setpoint soll sollwert consigne consigna setp spt op cv stell"),
        ("setpoint", "sollwert", "consign", "stellgr", "stellwert"),
    ),
    "limit": (words("alarm alm hihi lolo limit lim grenzwert trip"), ("alarm", "grenz")),
}
NAMES: dict[str, Row] = {
    row.key: (frozenset(row.tokens), tuple(map(plain, row.beginnings)))
    for row in MEASURANDS.values()
    if row.tokens
}
# Quantities that are no analytical probe's: a name that carries one of these is not guessed to be one.
PROCESS: Row = (
    words(
        "flow level speed rpm weight mass density power torque valve pump motor vibration humidity volume stroke "
        "position debit niveau caudal nivel vazao fluss dichte gewicht menge agitator stirrer ruhrer cl2 chlorine chlor "
        "no3 nh4 po4 toc cod bod ozone nitrate ammonium phosphate gas offgas abgas exhaust ampere voltage energy energie "
        "counter totalizer"
    ),
    ("durchfluss", "fullstand", "fuellstand", "drehzahl", "ventil", "stickstoff"),
)
# Of these, machines: where another word follows, beside a measurand, one says where the probe sits ("pH pump pit").
MACHINES = words("valve pump motor agitator stirrer ruhrer")
GASES = words("gas offgas abgas exhaust")
# Words that only say "this is the reading": they carry no identity.
READING = words(
    "pv value val wert mw messwert ist istwert valor valeur meas measured measurement mesure medida reading actual act "
    "cur current avg mean mittel raw roh data daten signal sig process probe sensor sonde sonda fuhler fuehler"
)
FLAG_WORDS = words("active activ aktiv actif activo ativo on running flag valve open bool status vlv ventil")
# Words that people shorten by leaving out the vowels (``WSH``, ``TMP``, ``CNDCT``), with what they say.
SHORTENED: tuple[tuple[str, str], ...] = (
    ("temperature", "temperature"),
    ("hold", "hold"),
    ("wash", "wash"),
    ("clean", "wash"),
    ("rinse", "wash"),
    ("flush", "wash"),
    ("spray", "wash"),
    ("pressure", "pressure"),
    ("druck", "pressure"),
    ("status", "status"),
    ("alarm", "limit"),
    *((word, row.key) for row in MEASURANDS.values() for word in row.shortened),
)
