"""What was done, by the words of the log: calibration, verification, swap of a probe, cleaning, and which phase."""

from __future__ import annotations

import re

from excursions.read.logs.translated import english
from excursions.read.text.fold import plain

_FOUND = re.compile(
    r"as.?found|^af$|^f$|^found|\bbefore|\bvor(her|gefunden)?\b|\bavant\b|\bantes\b|initial|angetroffen|gefunden|trovat|encontrad|trouv|istzustand|\bprima\b|\bfore\b|\bprzed\b|\bennen\b|^voor$|\bvoor (?:afstel|kalibr|just)"
)
_LEFT = re.compile(
    r"as.?left|^al$|^l$|^left|\bafter\b|\bnach(her)?\b|\bapres\b|\bdespues\b|\bdepois\b|hinterlassen|belassen|lasciat|achtergelaten|\bfinal\b|\bdejad|\bdeixad|\blaiss|\bdopo\b|\befter\b|\bpo\b|\bjalkeen\b|^na$|\bna (?:afstel|kalibr|just)"
)
CLEANED = "as_found_cleaned"  # found again after cleaning, before any adjustment
_CLEANED = re.compile(
    r"(after|nach|apres|despues|depois|post)\b.*\b(clean|reinig|nettoy|limp|wasch|spul)|found.*clean(ed)?\b"
)
_VERIFY = re.compile(
    r"verif|\bcheck|\btest|control|kontroll|pruf|pruef|uberpruf|ueberpruf|validier|comprob|vergleich|compar|\bbump"
)
_INSTALL = re.compile(
    r"install|einbau|eingebaut|montage|mont(e|iert)|fitted|plugged|put in|instalad|instalac|colocad"
)
_SWAP = re.compile(
    r"swap|replac|exchang|tausch|wechsel|gewechselt|ersetz|remplac|substit|\bcambi|\btroca|reemplaz|vervang|sostitu|wymian|vymen|utbyt|udskift|utskift|renew|new (probe|sensor|electrode)"
)
_REMOVE = re.compile(
    r"remov|uninstall|ausbau|ausgebaut|depos|retir|demont|taken out|to (the )?(bench|workshop)"
)
_WIPED = r"clean|reinig|gereinigt|nettoy|limpi|limpe|lavad|spul|spuel|rins"
_CLEAN = re.compile(rf"^({_WIPED}|inspect|sichtprufung|electrolyte|elektrolyt|membran)")
_CALIBRATE = re.compile(
    r"calib|kalib|justier|adjust|etalonn|ajust|\bcal\b|\btaratura|two.?point|one.?point|\d.?p(oin)?t|zweipunkt|einpunkt|eingestellt|abgleich|nachjust"
)


# "No adjustment", "nicht justiert": what was not done.
_DENIED = re.compile(
    rf"\b(?:no|not|without|ohne|keine?|nicht|sans|pas|sin|senza|sem|geen|niet)\b[ -](?:(?:further|yet|been|re|weitere|autre)[ -]?)?(?:{_CALIBRATE.pattern})\w*"
)


def phase_of(text: str) -> str:
    """``as_found``, ``as_found_cleaned``, ``as_left`` or empty."""
    said = english(plain(text).casefold().replace("_", " "))
    if _CLEANED.search(said) and not re.search(r"as.?left", said):
        return CLEANED
    if _FOUND.search(said):
        return "as_found"
    return "as_left" if _LEFT.search(said) else ""


# In running text only words that say nothing else.
_SAID_FOUND = re.compile(
    r"\bas.found\b|vorgefunden|come trovat|como encontrad|tel que trouv|zoals aangetroffen|som funne[tn]|jak zastano"
)
_SAID_LEFT = re.compile(
    r"\bas.left\b|hinterlassen|come lasciat|como dejad|como deixad|tel que laiss|zoals achtergelaten|som forlat|jak pozostawiono"
)


# A remark that says nothing else: "before cleaning", "nach Justierung".
_BEFORE_OR_AFTER = re.compile(
    r"(?:before|after|vor|nach|avant|apres|antes de|despues de|depois de|voor|na) (?:the |der |la |le |el |l')?"
    r"(?:clean|reinig|nettoy|limp|calib|kalib|kalibr|justier|justage|adjust|abgleich|etalonn|ajust|afstel)[^\s\d]*"
)


def phase_in(comment: str) -> str:
    """``as_found``, ``as_found_cleaned`` or ``as_left`` where a remark says one of them, else empty."""
    said = plain(comment).casefold().replace("_", " ")
    if _BEFORE_OR_AFTER.fullmatch(said.strip(" .!")):
        return phase_of(comment)
    found, left = _SAID_FOUND.search(said), _SAID_LEFT.search(said)
    return "" if bool(found) == bool(left) else "as_found" if found else "as_left"


def is_cleaning(text: str) -> bool:
    """Whether an action is a cleaning, and no other service such as a new membrane or an inspection."""
    return bool(re.match(_WIPED, plain(text).casefold().replace("_", " ").strip()))


def action_of(text: str) -> str:
    """``remove``, ``install``, ``calibration``, ``verification``, ``clean`` or empty.

    A swap is an installation: what went in is named, what came out ends.  A calibration that was "checked and
    adjusted" is a calibration; one that was "not adjusted" is a verification.
    """
    whole = english(plain(text).casefold().replace("_", " ")).strip()
    said = _DENIED.sub(" ", whole)
    if not whole:
        return ""
    if _SWAP.search(said) and not re.search(r"membran|electrolyt|elektrolyt|cap\b|kappe", said):
        return "install"
    if _REMOVE.search(said):
        return "remove"
    if _INSTALL.search(said):
        return "install"
    if _CALIBRATE.search(said):
        return "calibration"
    if _VERIFY.search(said) or not said.strip(" .,;"):
        return "verification"
    return "clean" if _CLEAN.search(said) else ""


# Drawn from the process and read by the laboratory; in a remark "lab" alone may be where the work was done.
_TAKEN = re.compile(
    r"grab|sample|proben|stichprobe|muestra|echantillon|amostra|(?<!soluzione )campione|monster(?!punt)|\bprov(?:tagning|et)?\b"
)
_OF_LABORATORY = re.compile(r"labor|\blab\b|process|prozess|proces|produ[ck]t")


def says_sample(text: str) -> bool:
    """Whether a remark says that a sample of the process was taken, in which nobody moved the probe."""
    return bool(_TAKEN.search(english(plain(text).casefold())))


def is_against_sample(text: str) -> bool:
    """Whether an action or a header says that the probe was set to what the laboratory found in a sample."""
    return says_sample(text) or bool(_OF_LABORATORY.search(plain(text).casefold()))


_TEST_POINT = re.compile(
    r"\b(?:test|check) ?(?:point|pt)\b|prufpunkt|punto de prueba|\bcheck (?:buffer|standard|solution)|kontroll?(?:puffer|standard|losung)|prufpuffer|(?:tampon|solution) de controle|(?:tampon|solucion) de control"
)


def is_of_test(header: str) -> bool:
    """Whether a header names a point of a test, or what a check is made against: nothing is adjusted there."""
    return bool(_TEST_POINT.search(plain(header).casefold()))
