"""Nothing reaches a crew in words that no translator has seen.

Every text of the Spanish words is masked: its Latin letters become another sign. What is
then rendered from a job whose names are all Greek may hold Latin letters in units alone;
any other is a sentence that went past the words.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from string import Formatter
from typing import Any

import icalendar
import numpy as np
import pytest
from steady import write_job, write_weather

from cureplan.api import get_weather, make_plan, read_job
from cureplan.core.messages import Message, Value
from cureplan.output import language as words
from cureplan.output.charts import pages
from cureplan.output.sheet.crew_calendar import crew_ics
from cureplan.output.sheet.page import sheet_html
from cureplan.output.sheet.write import buckets_csv, calls_csv, coats_csv
from cureplan.output.text.terminal import terminal_text
from cureplan.planning.plan.model import Plan, plan_from_json, plan_to_json
from cureplan.weather.hours.remarks import REMARKS
from cureplan.weather.hours.series import Gap, HourlySeries, WeatherOrigin

MASK = "ж"
NOW = datetime(2013, 7, 17, 12, tzinfo=UTC)
NAMES = {
    "Test kitchen": "Κουζίνα",
    "Cook line": "Πίστα",
    'display = "metric"': 'display = "us"\nlanguages = ["es"]',
}
UNITS = frozenset(
    "min h s d lb kg gal L ft in m mm km mil pies pulg F C K W AM PM".split()  # noqa: SIM905
)
SPOKEN = ("aria-label", "title", "alt", "placeholder", "label", "value")
UNSPOKEN = ("script", "style")


def masked(template: str) -> str:
    parts = []
    for literal, name, spec, _ in Formatter().parse(template):
        parts.append(re.sub(r"[^\W\d_]", MASK, literal))
        if name is not None:
            counts = "=" in (spec or "")
            shown = re.sub(r"(?<==)[^|]+", MASK, spec) if counts else spec
            parts.append(f"{{{name}:{shown}}}" if shown else f"{{{name}}}")
    return "".join(parts)


@pytest.fixture(scope="module", autouse=True)
def masked_spanish() -> Iterator[None]:
    spanish = words.catalogue("es")
    tables = {
        name: {key: masked(text) for key, text in getattr(spanish, name).items()}
        for name in ("labels", "words", "sayings")
    }
    cautions = tuple((masked(title), masked(text)) for title, text in spanish.cautions)
    hidden = replace(spanish, cautions=cautions, **tables)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            words, "catalogue", lambda language: {"es": hidden, "en": hidden}[language]
        )
        yield


TRIALS: Mapping[str, Value] = {
    "why": Message("provider.slow"),
    "fetched_at": "2013-07-17T10:00:00+00:00",
    "how": Message("read.commas"),
    "what": "temp_c",
    "mark": "tab",
    "order": "dmy",
    "rows": 3,
    "count": 5,
    "status": 503,
    "given_frac": 0.7,
    "humidity_frac": 0.5,
    "odd": "stuck",
}


def remark(code: str, **values: Value) -> Message:
    """A remark whose values are Greek names, or numbers."""
    suffixed = {name: 6.5 for name in REMARKS[code] if name.rpartition("_")[0]}
    names = dict.fromkeys(REMARKS[code], "Όνομα")
    return Message(code, {**names, **suffixed, **_of(REMARKS[code], TRIALS), **values})


def _of(names: frozenset[str], values: Mapping[str, Value]) -> dict[str, Value]:
    return {name: value for name, value in values.items() if name in names}


PROVIDERS = [remark(code) for code in REMARKS if code.startswith("provider.")]
ANSWERS = tuple(remark(code) for code in REMARKS if code.startswith("net."))
READ = tuple(remark(code) for code in REMARKS if code.startswith("read."))
OF_FILE = ("told", "columns_aside", "saturated", "off_hour", "averaged", "coarse", "accepted",
           "steady", "steady_humidity", "season", "sun", "file_ahead", "read_as")  # fmt: skip
OF_STATION = ("station_used", "station_used_poor", "station_spare", "station_poor",
              "station_silent", "station_years", "station_high", "site_height", "height",
              "list_old", "station_odd", "station_used_odd")  # fmt: skip
OF_FORECAST = ("reused", "forecast_age", "forecast_age_fetched",
               "forecast_age_written", "shut", "history_short", "history_filled",
               "clock_ahead", "clock_behind")  # fmt: skip
OF_COPY = (
    "forecast_old",
    "forecast_old_fetched",
    "forecast_old_written",
    "copy",
    "copy_mixed",
    "not_kept",
)
KINDS = {
    "file": (OF_FILE, "file", "by a straight line"),
    "station": (OF_STATION, "observed", "no"),
    "forecast": (OF_FORECAST, "forecast", "by a shape-preserving curve between coarse steps"),
    "copy": (OF_COPY, "interpolated", "by a straight line"),
}


def weather_of(kind: str, series: HourlySeries) -> HourlySeries:
    codes, origin, mended = KINDS[kind]
    told = [remark(f"weather.{code}") for code in codes]
    if kind == "file":
        told.append(remark("weather.read_as", how=READ))
    if kind == "forecast":
        told += [Message("weather.shut", {"why": provider}) for provider in PROVIDERS]
        told.append(remark("weather.copy", why=ANSWERS))
    gap = Gap(what="dew point", starts=NOW, ends=NOW, hours=1, mended=mended)
    label: Any = {"label": "Ελληνικό", "licence": "Άδεια", "attribution": "Πηγή"}
    return replace(
        series,
        origins=(WeatherOrigin(kind=origin, **label),),  # type: ignore[arg-type]
        origin=np.zeros(series.epoch_s.size, dtype=np.int64),
        notes=tuple(told[:2]),
        warnings=tuple(told[2:]),
        gaps=(gap, replace(gap, what="temperature")),
    )


def test_every_remark_is_tried_below():
    tried = {f"weather.{code}" for codes, _, _ in KINDS.values() for code in codes}
    tried |= {say.code for say in (*PROVIDERS, *ANSWERS, *READ)}
    assert tried == REMARKS.keys()


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Plan]:
    folder: Path = tmp_path_factory.mktemp("job")
    # Too hot as it is, so that two of the plans fall short and two are iced.
    write_weather(folder / "weather.csv", 31.0)
    iced = ("remedies = []", 'remedies = ["hour", "chill", "cool filler", "bays"]')
    made = {}
    for kind in KINDS:
        more = (iced,) if kind in ("forecast", "copy") else ()
        job = read_job(write_job(folder, *NAMES.items(), *more))
        series = weather_of(kind, get_weather(job, now=NOW))
        made[kind] = make_plan(job, now=NOW, weather=series)
    assert {plan.chill.iced for plan in made.values()} == {True, False}
    return made


@pytest.fixture(params=KINDS)
def plan(plans: Mapping[str, Plan], request: pytest.FixtureRequest) -> Plan:
    return plans[request.param]


def raw(texts: list[str]) -> list[str]:
    """Texts with Latin letters that are no unit."""
    assert texts
    return [text for text in texts if set(re.findall(r"[A-Za-zÀ-ÖØ-öø-ÿ]+", text)) - UNITS]


class Spoken(HTMLParser):
    """Collects what a reader sees or hears of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.inside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in UNSPOKEN:
            self.inside.append(tag)
        if tag != "input":
            self.texts += [text or "" for name, text in attrs if name in SPOKEN]

    def handle_endtag(self, tag: str) -> None:
        if tag in UNSPOKEN:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if data.strip() and not self.inside:
            self.texts.append(data.strip())


def test_a_defaulted_value_stands_among_the_sources(plan: Plan):
    assert any(note.code == "job.default" for note in plan.job.notes)
    assert any(source.kind == "default" for source in plan.sources)


def test_the_plan_with_its_remarks_reads_back_whole(plan: Plan):
    assert plan_from_json(plan_to_json(plan)) == plan


def test_the_sheet_speaks_only_from_the_words(plan: Plan):
    page = Spoken()
    page.feed(sheet_html(plan))
    assert any(MASK in text for text in page.texts)
    assert raw(page.texts) == []


def test_the_terminal_speaks_only_from_the_words(plan: Plan):
    assert raw(terminal_text(plan, width=120, colour=False).splitlines()) == []


def test_the_calendar_speaks_only_from_the_words(plan: Plan):
    calendar = icalendar.Calendar.from_ical(crew_ics(plan))
    names = ("SUMMARY", "DESCRIPTION", "LOCATION", "X-WR-CALNAME")
    texts = [str(part[name]) for part in calendar.walk() for name in names if name in part]
    assert raw(texts) == []


@pytest.mark.parametrize("write", [buckets_csv, calls_csv, coats_csv])
def test_the_spreadsheets_speak_only_from_the_words(plan: Plan, write: Any):
    rows = list(csv.reader(io.StringIO(write(plan).removeprefix("\ufeff"))))
    instant = re.compile(r"\d{4}-\d\d-\d\dT.*")
    assert raw([cell for row in rows for cell in row if not instant.fullmatch(cell)]) == []


def test_the_pictures_speak_only_from_the_words(plan: Plan, monkeypatch: pytest.MonkeyPatch):
    from matplotlib.text import Text

    drawn: list[str] = []

    def read(figures: Any) -> bytes:
        for figure in figures:
            drawn.extend(text.get_text() for text in figure.findobj(Text))
        return b""

    monkeypatch.setattr(pages, "_png", read)
    monkeypatch.setattr(pages, "_pdf", lambda _: b"")
    pages.plan_pictures(plan)
    assert any(MASK in text for text in drawn)
    assert raw(drawn) == []


def texts_of(table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Every code of a language's file and its text."""
    for code, text in table.items():
        if isinstance(text, dict):
            yield from texts_of(text)
        elif isinstance(text, str):
            yield code, text


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_remark_on_weather_fits_two_hundred_characters(language: str) -> None:
    # Each value stands for a dozen characters.
    file = Path(words.__file__).parent / f"{language}.toml"
    shown = {
        code: re.sub(r"\{[^}]*\}", "x" * 12, text)
        for code, text in texts_of(tomllib.loads(file.read_text(encoding="utf-8")))
        if code.startswith("weather.")
    }
    assert len(shown) > 30
    assert [code for code, text in shown.items() if len(text) > 200] == []
