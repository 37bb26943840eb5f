"""The words by which a header, a place or a role is known, in the languages that exports come in.

Words of the trade and of everyday speech only; what no word tells is found from what stands in the cells.
"""

from __future__ import annotations

import re
import unicodedata

_LETTERS = str.maketrans(
    {"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "ø": "o", "å": "a", "æ": "ae", "ł": "l"}
)

# The likelier first; open reader-protocol fields among them.
HEADER_WORDS: dict[str, tuple[str, ...]] = {
    "bib": ("bib", "bib number", "bib no", "race number", "start number", "startnummer", "start nr", "startnr", "st nr", "stnr", "dossard", "dorsal", "pettorale", "number", "nummer", "no", "nr"),
    "tag": ("tag", "tag id", "tag code", "tag no", "tag number", "tag 1", "first tag", "epc 96", "epc", "epcdata", "transponder", "transponder id", "transponder nr", "chip", "chip id", "chip no", "chip nr", "chip code", "chip 1", "chipnummer", "bib tag", "chip epc", "puce"),
    "tag_2": ("tag 2", "second tag", "tag2", "shoe tag", "chip 2", "chip2", "second chip", "transponder 2"),
    "runner": ("runner id", "entry id"),  # "runner" alone heads a column of names, and names come twice
    "line": ("line", "line id", "reader", "reader id", "reader name", "device", "device id", "mat", "taken by", "box", "box id", "reader box", "unit", "geraet", "geraete id", "lesegeraet", "leser", "linie", "matte", "appareil", "lecteur"),
    "point": ("point", "place", "location", "timing point", "split", "checkpoint", "station", "where", "ort", "stelle", "messstelle", "messpunkt", "zeitmesspunkt", "zwischenzeit", "lieu", "punto"),
    "first": ("first", "first seen", "first read", "first time", "firstseentimestamputc", "erste lesung", "zuerst"),
    "strongest": ("strongest", "strongest read", "strongest time", "peak time", "staerkste lesung"),
    "last": ("last", "last seen", "last read", "last time", "lastseentimestamputc", "letzte lesung", "zuletzt"),
    "time": ("time", "timestamp", "clock", "clock time", "time of day", "date time", "datetime", "read time", "seen", "when", "firstseentimestamputc", "zeit", "uhrzeit", "zeitstempel", "lesezeit", "zeitpunkt", "heure", "hora", "ora"),
    "date": ("date", "day", "datum", "tag der lesung", "fecha", "data"),
    "antenna": ("antenna", "antenna id", "antennaid", "port", "ant", "antenne"),
    "strength": ("strength", "rssi", "peakrssi", "signal", "signal strength", "signal dbm", "dbm", "signalstaerke", "pegel"),
    "reads": ("reads", "count", "tagseencount", "number of reads", "lesungen", "anzahl lesungen", "anzahl"),
    "antennas": ("antennas", "antennas hit"),
    "visit": ("visit", "lap", "lap no", "round", "runde", "tour", "vuelta", "giro"),
    "course": ("course", "race", "distance", "event", "wettbewerb", "strecke", "lauf", "parcours", "carrera", "gara"),
    "wave": ("wave", "start wave", "pen", "start group", "startblock", "startgruppe", "welle", "vague"),
    "class": ("class", "runner class"),
    "sex": ("sex", "gender", "m f", "m w", "geschlecht", "sexe", "sexo", "sesso"),
    "age": ("age", "alter", "edad"),
    "tag_kind": ("tag kind", "tag type", "chip type"),
    "tag_batch": ("tag batch", "batch"),
    "tag_since": ("tag since", "since", "issued"),
}  # fmt: skip

# Further headings by which a header row is known, as they are written.
WRITTEN = (
    "bib #", "bib no.", "no.", "m/f", "m/w", "epc-96", "nr.", "startnr.", "start-nr", "start-nr.", "st.-nr.", "chip-nr",
    "chip-nr.", "transponder-nr.", "gerät", "geräte-id", "lesegerät", "signalstärke", "name", "first name", "last name",
    "surname", "vorname", "nachname", "club", "verein", "category", "kategorie", "rank", "platz", "status", "start", "finish",
    "ziel", "gun time", "net time", "brutto", "netto", "bruttozeit", "nettozeit", "5 km", "10 km", "half",
)  # fmt: skip

# File names of start lists, as word beginnings.
START_LIST = re.compile(
    r"(?<![a-z])(entries|entry|start ?list|starters?|starter ?liste|melde ?liste|meldungen|teilnehmer|anmeldungen|"
    r"participants?|athletes|runners|registrations?|bibs|tags|inscrits|inscriptions|iscritti)"
)
NOT_TIMES = ("pace", "speed", "rank", "place", "position", "age", "diff", "difference", "behind", "gap", "schnitt", "tempo", "rueckstand", "abstand", "platz", "rang", "alter", "jahrgang", "born", "year")  # fmt: skip
GUN = re.compile(r"(?<![a-z])(gun|gross|official|brutto|bruttozeit|offiziell)(?![a-z])")
NET = re.compile(r"(?<![a-z])(net|netto|nettozeit|own start|chip time|tag time|chipzeit|temps reel)(?![a-z])")
DATE_ONLY = r"^(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4})$"
MISSING = r"(?i)^(?:[-–—_.:? ]+|0+(?:[:.,]0+)*|n/?a|#n/a|nan|null|none|nil|dns|dnf|dsq|dq)$"


def plain(words: str) -> str:
    """Lower case without accents; every run of other signs is one blank: ``Wende-Süd`` is ``wende sued``."""
    folded = words.replace("\ufeff", "").casefold().translate(_LETTERS)
    bare = unicodedata.normalize("NFKD", folded).encode("ascii", "ignore").decode()
    return " ".join(re.findall(r"[a-z0-9]+", bare))


def slug(words: str) -> str:
    """A short id: lower case, digits and dashes."""
    return plain(words).replace(" ", "-") or "point"


def distance_m(words: str) -> float | None:
    """A distance that a name states: ``5 km``, ``10K``, ``3 miles``, ``half``, ``marathon``."""
    text = words.casefold().replace(",", ".")
    found = re.search(r"(?<![\d.])(\d+(?:\.\d+)?)[ _-]*(km|kilometres?|k|miles?|mi|metres?|m)(?![a-z])", text)
    if found:
        unit = found[2]
        scale = 1000.0 if unit.startswith("k") else 1609.344 if unit.startswith("mi") else 1.0
        return round(float(found[1]) * scale, 1)
    reverse = re.search(r"(?<![a-z])(km|mile)[ _-]*(\d+(?:\.\d+)?)(?![\d.])", text)
    if reverse:
        return round(float(reverse[2]) * (1000.0 if reverse[1] == "km" else 1609.344), 1)
    if re.search(r"(?<![a-z])(half|halb|halbmarathon|semi)(?![a-z])", text):
        return 21_097.5
    return 42_195.0 if re.search(r"(?<![a-z])marathon", text) else None
