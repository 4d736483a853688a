"""Which column of a table is which: by the names that services and loggers give them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

__all__ = ["Column", "Header", "Role", "header_of", "zone_in_name"]

Role = Literal[
    "time", "date", "clock", "year", "month", "day", "hour", "minute", "zone",
    "temp", "dew", "humidity", "cloud", "origin", "issued", "half", "station",
]  # fmt: skip
Unit = Literal["c", "f", "k", "pct", "frac", ""]


def _set(text: str) -> frozenset[str]:
    return frozenset(text.split())


# English, Spanish, German, French, Italian, Portuguese, Catalan, Dutch, Polish, Czech, Swedish,
# Norwegian, Danish, Finnish, Turkish and Hungarian, and the short forms of loggers and
# weather services.
_TEMP = _set(
    "temp temps tmp temperature temperatures temperatura temperatur lufttemperatur"
    " aussentemperatur airtemp airtemperature t2m tair ta t tt oat tdb drybulb"
    " drybulbtemperature drybulbtemp outdoortemp outtemp tempout lt tl"
    " temperatuur luchttemperatuur buitentemperatuur teplota lampotila sicaklik sicakligi"
    " homerseklet leghomerseklet"
)
_DEW = _set(
    "dew dewp dewpt dewpoint dewpointtemperature dwpt dwp td tdew dpt tp taupunkt"
    " taupunkttemperatur taupunktstemperatur rocio rosee rugiada orvalho"
    " rosada dauwpunt dauwpuntstemperatuur rosy rosny daggpunkt duggpunkt dugpunkt"
    " kastepiste d2m ciy cig harmatpont"
)
_HUMIDITY = _set(
    "rh relh rhum hum humid humidity humidad humedad feuchte feuchtigkeit luftfeuchte"
    " luftfeuchtigkeit humidite hygrometrie umidita umidade humidade rf hr ur relhum"
    " relativehumidity outhum humout humitat luchtvochtigheid vochtigheid wilgotnosc vlhkost"
    " luftfuktighet fuktighet luftfugtighed fugtighed kosteus nem paratartalom nemi"
)
_CLOUD = _set("cloud clouds cloudcover cloudiness nubosidad bewolkung nebulosite nuvolosita")
_TIME = _set(
    "time datetime timestamp zeitstempel zeitpunkt valid horodatage messdatum obstime when ts"
    " datetimestamp dateheure datumzeit fechahora datahora dataora timeutc datetimeutc"
    " measurementtime timelocal moment recorded validtime dt dttxt dtiso simpledate"
    " dateutc timegmt dategmt datetimegmt aaaammjjhh tidpunkt epoch unixtime unix idopont"
)
_DATE = _set("date datum fecha data jour dia day tag giorno dato paivamaara tarih")
_CLOCK = _set(
    "time zeit uhrzeit hora heure ora clock hour hr stunde tijd tid godzina czas cas aika klo"
    " saat ido"
)
_ISSUED = _set(
    "issued issuedat issuetime issuedtime runtime run modelrun inittime initializationtime"
    " referencetime reftime basetime analysistime cycle forecastmade"
)
_ZONE = _set("tz timezone zone utcoffset gmtoffset")
_PARTS = {
    "year": _set("year yr yyyy ano anno annee jahr"),
    "month": _set("month mo mm mes mese mois monat"),
    "day": _set("day dd dy dia giorno jour tag"),
    "hour": _set("hour hr hh hora ora heure stunde"),
    "minute": _set("minute minutes"),
}
# A name with one of these is not the outdoor air's own reading.
_NOT_AIR = _set(
    "indoor inside interior inner innen intern internal interna interno interieur dentro in"
    " feels feelslike apparent chill windchill heat index heatindex hi wet wetbulb soil ground"
    " surface water sea skin max min maximum minimum high low lo std stdev sd flag flags qc"
    " quality source change delta diff virtual battery batt cpu logger slab floor storage"
    " body normal departure sensacion termica gefuhlt gefuhlte ressentie percepita absolute"
    " specific mixing abs absolut attr attributes wasser boden kit glove globe wbgt road grass"
    " leaf fuel pool reporttype sunrise sunset precip rain dauer duration created"
    " updated upload"
)
_OUTSIDE = _set(
    "out outdoor outside aussen exterior exterieur esterna esterno fuera ambient ext"
)
_HALF = _set("ampm")
_STATION = _set("station stationid stationname stn siteid icao usaf wban estacion stationsid")
# Names in the tongues of lands that tell the air in °C only.
_METRIC = _set(
    "temperatur lufttemperatur aussentemperatur temperatuur luchttemperatuur buitentemperatuur"
    " teplota lampotila sicaklik sicakligi homerseklet leghomerseklet harmatpont ciy cig"
    " taupunkt taupunkttemperatur taupunktstemperatur dauwpunt"
    " dauwpuntstemperatuur daggpunkt duggpunkt dugpunkt kastepiste rosny"
)
# Signs of Japanese, Chinese and Korean tables, as words used here.
_SIGNS = {
    "室内": " indoor ", "室外": " outdoor ", "屋外": " outdoor ",
    "外気温": " lufttemperatur ", "気温": " lufttemperatur ", "温度": " temp ",
    "气温": " lufttemperatur ", "기온": " lufttemperatur ",
    "相対": " rel ", "相对": " rel ", "湿度": " rh ", "습도": " rh ", "露点": " dew ",
    "年月日時": " datetime ", "日時": " datetime ", "日时": " datetime ",
    "일시": " datetime ", "时间": " datetime ", "時間": " time ", "時刻": " time ",
    "年月日": " date ", "日付": " date ", "日期": " date ", "날짜": " date ",
    "시간": " time ",
}  # fmt: skip
# Words that say nothing about which reading it is.
_PLAIN = _set(
    "air do da von der ar luft aire aria l de del du della the relative relativa relativ"
    " rel outside outdoor out aussen exterior exterieur esterna esterno ambient 2m at m 2 m2"
    " avg average mean mittel media promedio moyenne observed obs hourly dry bulb point"
    " punto of pt set 1 set_1 sensor value wert tu rf level punkt bolb degrees deg local utc"
    " gmt cover total percent bulbo seco horaria relatieve lucht bod wzgledna powietrza"
    " relativni vzduchu ilman suhteellinen punt punkt ext bagil hava noktasi relativ"
)
_UNITS: dict[str, Unit] = {
    "c": "c", "°c": "c", "degc": "c", "celsius": "c", "centigrade": "c", "grad": "c", "ºc": "c",
    "f": "f", "°f": "f", "degf": "f", "fahrenheit": "f", "ºf": "f",
    "k": "k", "kelvin": "k", "degk": "k",
    "%": "pct", "pct": "pct", "percent": "pct", "prozent": "pct", "%rh": "pct", "%rf": "pct",
    "%hr": "pct", "%ur": "pct", "rh%": "pct",
    "frac": "frac", "fraction": "frac", "0-1": "frac",
}  # fmt: skip
_REGION = (
    r"(?:Africa|America|Antarctica|Arctic|Asia|Atlantic|Australia|Canada|Europe|Indian|Pacific"
    r"|US|Etc)"
)
# Short names that carry their unit without a sign between.
_WITH_UNIT = {
    "tmpf": ("temp", "f"), "tmpc": ("temp", "c"), "dwpf": ("dew", "f"), "dwpc": ("dew", "c"),
    "tempf": ("temp", "f"), "tempc": ("temp", "c"), "dewptf": ("dew", "f"),
    "dewptc": ("dew", "c"), "dewpointf": ("dew", "f"), "dewpointc": ("dew", "c"),
    "tempk": ("temp", "k"), "airtc": ("temp", "c"), "airtf": ("temp", "f"),
    "tttu": ("temp", "c"), "rftu": ("humidity", "pct"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its place, its name as written, what it is, and in which unit."""

    at: int
    name: str
    role: Role | None
    unit: Unit
    outside: bool = False
    metric: bool = False
    """Whether its name is of a land that tells the air in °C only."""
    exact: bool = False
    """Whether it bears the name that our own documents use."""


@dataclass(frozen=True, slots=True)
class Header:
    """The columns of a header row."""

    columns: tuple[Column, ...]

    def of(self, role: Role) -> list[Column]:
        """Columns of a role, the one to prefer first."""
        mine = [column for column in self.columns if column.role == role]
        if any(column.exact for column in mine):
            mine = [column for column in mine if column.exact]
        elif any(column.outside for column in mine):
            mine = [column for column in mine if column.outside]
        return mine

    @property
    def tells_time(self) -> bool:
        """Whether some columns together give an instant."""
        roles = {column.role for column in self.columns}
        if "time" in roles or "date" in roles or "clock" in roles:
            return True
        return {"year", "month", "day", "hour"} <= roles

    @property
    def tells_air(self) -> bool:
        """Whether a column gives the air's temperature."""
        return bool(self.of("temp"))


_OWN: dict[str, tuple[Role, Unit]] = {
    "time": ("time", ""),
    "temp_c": ("temp", "c"),
    "temp_f": ("temp", "f"),
    "dew_c": ("dew", "c"),
    "dew_f": ("dew", "f"),
    "humidity_pct": ("humidity", "pct"),
    "humidity_frac": ("humidity", "frac"),
    "cloud_pct": ("cloud", "pct"),
    "cloud_frac": ("cloud", "frac"),
    "origin": ("origin", ""),
}


def header_of(cells: Sequence[str]) -> Header:
    """What each name of a row means; names that mean nothing to us have no role.

    Examples
    --------
    >>> names = ["Date Time, GMT-04:00", "Temp, °F (LGR S/N: 1)", "RH, %", "Indoor Temp (F)"]
    >>> [(c.role, c.unit) for c in header_of(names).columns]
    [('time', ''), ('temp', 'f'), ('humidity', 'pct'), (None, 'f')]
    """
    columns = [_column(at, cell.strip()) for at, cell in enumerate(cells)]
    return Header(tuple(_with_date_parts(columns)))


def _with_date_parts(columns: list[Column]) -> list[Column]:
    """A date beside a clock, or year, month, day and hour in columns of their own."""
    tokens = [_tokens(column.name)[0] for column in columns]
    parts = {
        part: next(
            (n for n, words in enumerate(tokens) if len(words) == 1 and words[0] in names), None
        )
        for part, names in _PARTS.items()
    }
    if all(parts[part] is not None for part in ("year", "month", "day", "hour")):
        for part, at in parts.items():
            if at is not None:
                columns[at] = _as(columns[at], part)  # type: ignore[arg-type]
        return columns
    if any(column.role == "date" for column in columns):
        for n, column in enumerate(columns):
            words = tokens[n]
            if words and set(words) <= _CLOCK | _PLAIN and column.role in {None, "time"}:
                columns[n] = _as(column, "clock")
    return columns


def _as(column: Column, role: Role) -> Column:
    return replace(column, role=role)


def _column(at: int, name: str) -> Column:
    own = _OWN.get(name.strip().lower())
    if own is not None:
        return Column(at, name, own[0], own[1], exact=True)
    words, unit = _tokens(name)
    outside = bool(set(words) & _OUTSIDE)
    together = "".join(words)
    if words and words[0] in {"timestamp", "datetime"}:
        return Column(at, name, "time", "")
    together = together if together in _WITH_UNIT else together.removesuffix("avg")
    if together in _WITH_UNIT:
        role, unit = _WITH_UNIT[together]  # type: ignore[assignment]
        return Column(at, name, role, unit)  # type: ignore[arg-type]
    for names, role in _BESIDE:
        if together in names:
            return Column(at, name, role, unit)
    if set(words) & _NOT_AIR:
        return Column(at, name, None, unit)
    metric = bool(set(words) & _METRIC)
    return Column(at, name, _role(words, together, unit), unit, outside, metric)


_BESIDE: tuple[tuple[frozenset[str], Role], ...] = (
    (_ISSUED, "issued"), (_HALF, "half"), (_STATION, "station"),
)  # fmt: skip


def _role(words: list[str], together: str, unit: Unit) -> Role | None:
    found = set(words) | {together}
    rest = set(words) - _PLAIN
    if found & _DEW and not rest - _DEW - _TEMP:
        return "dew"
    if found & _HUMIDITY and (not rest - _HUMIDITY or together in _HUMIDITY):
        return "humidity"
    if found & _TEMP and (not rest - _TEMP or together in _TEMP):
        return "temp" if unit in {"c", "f", "k", ""} else None
    if found & _CLOUD and unit in {"pct", "frac"} and not rest - _CLOUD:
        return "cloud"
    return _time_role(words, together)


def _time_role(words: list[str], together: str) -> Role | None:
    if together in _ZONE:
        return "zone"
    if not words:
        return None
    if words[0] in _TIME or together in _TIME:
        return "time"
    named = set(words) - _set("y e et and und of local locale utc gmt lst edt est")
    if words[0] in _DATE and len(words) > 1 and named & (_CLOCK | _TIME):
        return "time"
    if named and named <= _DATE:
        return "date"
    return "time" if named and named <= _CLOCK and words[0] != "hr" else None


def _tokens(name: str) -> tuple[list[str], Unit]:
    """The words of a name in plain small letters, and the unit found among them."""
    spaced = re.sub(r"(?<=[a-z][a-z])(?=[A-Z])|(?<=[a-z])(?=[A-Z][a-z])", " ", name)
    named = spaced.lower().replace("ß", "ss").replace("ı", "i").replace("º", "°")
    # Before letters are taken apart: a Korean syllable is of several.
    for sign, word in _SIGNS.items():
        named = named.replace(sign, word)
    plain = unicodedata.normalize("NFKD", named)
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    plain = re.sub(r"\b(?:[a-z]\.){2,}", lambda m: m[0].replace(".", "") + " ", plain)
    outer = re.sub(r"[(\[{].*?[)\]}]", " ", plain)
    inner = " ".join(re.findall(r"[(\[{](.*?)[)\]}]", plain))
    units = [_UNITS[word] for word in re.findall(r"[°%a-z0-9\-]+", inner) if word in _UNITS]
    words: list[str] = []
    for word in re.findall(r"°\s?[cfk]\b|%\s?[a-z]{2}\b|[°%]|[a-z0-9]+", outer):
        bare = word.replace(" ", "")
        if bare in _UNITS and (words or bare.startswith(("°", "%"))):
            units.append(_UNITS[bare])
            # "Temp in °C" is no temperature indoors.
            words = words[:-1] if words[-1:] == ["in"] else words
        elif bare in {"deg", "degrees", "°"}:
            continue
        else:
            words.append(bare)
    if len(words) > 1 and words[0] in {"#", "no", "nr"}:
        words = words[1:]
    return words, (units[0] if units else "")


def zone_in_name(name: str) -> str:
    """A clock named in a header, such as "GMT-04:00"; "" where none is.

    Examples
    --------
    >>> zone_in_name("Date Time, GMT-04:00"), zone_in_name("Time (EDT)"), zone_in_name("Date")
    ('GMT-04:00', 'EDT', '')
    >>> zone_in_name("Timestamp (America/New_York)"), zone_in_name("time_utc")
    ('America/New_York', 'utc')
    >>> zone_in_name("dateutc"), zone_in_name("Time (local standard time)")
    ('utc', 'LST')
    """
    # The German and the French weather service stamp their hours in UTC without saying so.
    if name.strip().upper() in {"MESS_DATUM", "AAAAMMJJHH"}:
        return "UTC"
    match = re.search(
        r"(?:UTC|GMT)\s?[+\-\u2212]\s?\d{1,2}(?::?\d{2})?|" + _REGION + r"/[A-Z][A-Za-z_/]+"
        r"|(?<![A-Za-z])[+\-]\d{2}:\d{2}",
        name,
    )
    if match:
        return match[0]
    match = _LAND.search(name)
    if match:
        kind = "S" if match[2].lower() == "standard" else "D"
        return f"{match[1][0].upper()}{kind}T"
    if _STANDARD.search(name):
        return "LST"
    match = re.search(
        r"(?<![A-Za-z])(UTC|GMT|TUC?|UT|LST|LT|[A-Z]{1,3}[SD]T|[ECMP]T|CES?T|MES?Z|WES?T|EES?T)"
        r"(?![A-Za-z])|(?<![a-z])(utc|gmt|local time|local)(?![a-z])",
        name,
        0,
    )
    if match:
        return match[0]
    match = re.search(r"(?:time|date|stamp)_?(utc|gmt)(?![a-z])", name, re.IGNORECASE)
    return match[1] if match else ""


_LAND = re.compile(r"(eastern|central|mountain|pacific) (standard|daylight)", re.IGNORECASE)
_STANDARD = re.compile(
    r"local standard|standard time|normalzeit|winterzeit|ora solare|heure d.hiver"
    r"|hora de invierno|hor[aá]rio de inverno|wintertijd",
    re.IGNORECASE,
)
"""A land's clock without summer time, all the year round."""
