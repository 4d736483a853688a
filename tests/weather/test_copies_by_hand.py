"""Fresh weather, kept copies and past months: which serves, at both sides of each limit."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import SimpleNamespace as Made

import numpy as np
import pytest
from builders import JULY_17_S, at_h, series_of

from cureplan.core.errors import OutOfRangeError, OutputError, WeatherUnavailableError
from cureplan.core.messages import Message
from cureplan.weather import kept, obtain, seasons
from cureplan.weather.hours.series import HourlySeries, WeatherOrigin
from cureplan.weather.kept import ForecastAge, KeptCopy, WeatherStore
from cureplan.weather.providers.exchange import Span
from cureplan.weather.providers.fetching import Fetched

H = 3600.0
NOW = at_h(12)
SPAN = Span(wanted_from=at_h(0), starts=at_h(24), ends=at_h(48))


def origin_of(kind: str = "forecast", *, issued=None, written=None, fetched=None, label="a"):
    def when(hours):
        return None if hours is None else at_h(hours)

    return WeatherOrigin(
        label=label, kind=kind, licence="l", attribution="b", issued_at=when(issued),
        written_at=when(written), fetched_at=when(fetched),
    )  # fmt: skip


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)


def resting_on(origins: tuple[WeatherOrigin, ...], which) -> HourlySeries:
    """Hours of 20 °C, each from one of these."""
    which = np.array(list(which))
    return replace(series_of(np.full(which.size, 20.0), origins=origins), origin=which)


# How old a forecast is


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(7199.0, "120 min"), (7200.0, "2 h"), (48 * H - 1, "48 h"), (48 * H, "2 days")],
)
def test_an_age_is_told_in_minutes_hours_or_days(seconds, words):
    assert kept.in_words(seconds) == words


@pytest.mark.parametrize(
    ("origin", "since_h", "counted"),
    [
        (origin_of(issued=5.0, written=6.0, fetched=7.0), 5.0, "issued"),
        (origin_of(written=6.0, fetched=7.0), 6.0, "written"),
        (origin_of(fetched=7.0), 7.0, "fetched"), (origin_of(), None, None),
        (origin_of("observed", issued=5.0), None, None),
        (origin_of("interpolated", issued=5.0), 5.0, "issued"),
        (origin_of("interpolated", written=6.0), 6.0, "written"),
        (origin_of("interpolated", fetched=7.0), None, None),
    ],
)  # fmt: skip
def test_a_forecast_is_as_old_as_its_issue_its_file_or_its_fetching(origin, since_h, counted):
    age = kept._age(origin)
    assert (age and age.since, age and age.counted) == (
        None if since_h is None else at_h(since_h), counted
    )  # fmt: skip


@pytest.mark.parametrize(
    ("starts_h", "ends_h", "used"),
    [
        # A row each hour from 0 to 5, each of a forecast of its own.
        (2.0, 3.0, [2, 3]), (2.5, 2.5, [2, 3]), (2.1, 2.9, [2, 3]), (0.0, 0.0, [0]),
        (5.0, 9.0, [5]), (9.0, 9.5, []),
    ],
)  # fmt: skip
def test_hours_of_a_span_rest_on_the_rows_around_them(starts_h, ends_h, used):
    origins = tuple(origin_of(fetched=float(n), label=str(n)) for n in range(6))
    series = resting_on(origins, range(6))
    found = kept._in_use(series, at_h(starts_h), at_h(ends_h))
    assert [int(age.label) for age in found] == used


def test_the_oldest_forecast_counts_and_each_that_is_too_old_is_told():
    origins = (origin_of(issued=6.0, label="new"), origin_of(issued=2.0, label="old"))
    series = resting_on(origins, (0, 0, 0, 1, 1, 1))
    oldest = kept.oldest_forecast(series, at_h(0), at_h(5))
    assert (oldest.label, oldest.age_s(NOW)) == ("old", 10 * H)
    for max_h, told in ((10.0, []), (9.9, ["old"]), (5.9, ["new", "old"])):
        found = kept.age_warnings(series, at_h(0), at_h(5), now=NOW, max_age_s=max_h * H)
        assert [m.values["label"] for m in found] == told
    future = ForecastAge(label="a", since=at_h(13), counted="issued")
    assert future.age_s(NOW) == 0.0


@pytest.mark.parametrize(
    ("counted", "code"),
    [("issued", "told"), ("written", "told_written"), ("fetched", "told_fetched")],
)
def test_an_age_is_told_with_what_it_counts_from(counted, code):
    age = ForecastAge(label="a", since=at_h(10), counted=counted)
    told = age.remark("told", NOW, {"allowed_s": 5.0})
    assert (told.code, told.values) == (code, {"label": "a", "age_s": 2 * H, "allowed_s": 5.0})


# Kept copies


def store_in(folder: Path) -> WeatherStore:
    return WeatherStore(
        folder=folder, provider="station", latitude_deg=40.0, longitude_deg=-73.0,
        elevation_m=3.0,
    )  # fmt: skip


def test_two_dozen_copies_are_kept_the_newest_first(tmp_path):
    store = store_in(tmp_path)
    series = series_of([20.0, 21.0], dew_c=[9.0, 9.0])
    for hour in range(26):
        store.keep(series, fetched_at=at_h(hour))
    hours = [copy.fetched_at for copy in store.copies()]
    assert hours == [at_h(hour) for hour in range(25, 1, -1)]
    # Names that are no instants, and copies that are not whole, are passed over.
    (store.shelf / "20130799T000000Z.csv").write_text("x")
    (store.shelf / "notes.csv").write_text("x")
    newest = store.shelf / "20130718T010000Z.csv"
    newest.write_text(newest.read_text() + "x")
    assert [copy.fetched_at for copy in store.copies()] == hours[1:]


@pytest.mark.parametrize(("age_s", "kept_part"), [(3600.0, True), (3601.0, False)])
def test_what_a_killed_writer_left_is_swept_after_an_hour(
    monkeypatch, tmp_path, age_s, kept_part
):
    store = store_in(tmp_path)
    store.shelf.mkdir(parents=True)
    part = store.shelf / ".a.part"
    part.write_text("x")
    os.utime(part, (1000.0, 1000.0))
    monkeypatch.setattr(kept, "time", Made(time=lambda: 1000.0 + age_s))
    store._tidy()
    assert part.exists() == kept_part


@pytest.mark.parametrize(
    ("error", "said"), [(OSError(28, "No space"), "No space"), (OSError("odd"), "odd")]
)
def test_a_shelf_that_cannot_be_made_is_told(monkeypatch, tmp_path, error, said):
    def mkdir(*_, **__):
        raise error

    monkeypatch.setattr(Path, "mkdir", mkdir)
    with pytest.raises(OutputError, match=rf"could not be made \({said}\)"):
        store_in(tmp_path).keep(series_of([20.0, 21.0]), fetched_at=NOW)


# What serves


@pytest.mark.parametrize(
    ("clock_h", "keeps"),
    [(12.0, True), (13.0, True), (11.0, True), (13.01, False), (10.9, False)],
)
def test_weather_of_another_hour_is_not_kept(monkeypatch, tmp_path, clock_h, keeps):
    # A copy fetched at an hour that is not now would pass for younger or older than it is.
    given = {}
    monkeypatch.setattr(obtain, "_young", lambda *_: None)
    monkeypatch.setattr(obtain, "_best", lambda *_, **more: given.update(more))
    monkeypatch.setattr(obtain, "_finished", lambda *_: "finished")
    monkeypatch.setattr(obtain, "fetch_with_folder", lambda *_: None)
    east = timezone(timedelta(hours=2))
    found = obtain.obtain_weather(
        provider="station", latitude_deg=40.0, longitude_deg=0.0, elevation_m=3.0,
        starts=at_h(24).astimezone(east), ends=at_h(48), history_s=H, max_age_s=H, now=NOW,
        contact=None, store_folder=tmp_path, clock=at_h(clock_h),
    )  # fmt: skip
    assert (found, given) == ("finished", {"keeps": keeps, "zone": east})


@pytest.mark.parametrize(
    ("starts_h", "ends_h", "history_s", "said"),
    [(24, 48, H, None), (24, 24, 0.0, None), (24, 23, H, "lies before"),
     (24, 48, -1.0, "must be >= 0"), (24, 48, float("nan"), "must be >= 0")],
)  # fmt: skip
def test_a_span_ends_after_it_starts_and_has_a_history(starts_h, ends_h, history_s, said):
    if said is None:
        span = obtain._span(at_h(starts_h), at_h(ends_h), history_s)
        assert span.wanted_from == at_h(starts_h) - timedelta(seconds=history_s)
        return
    with pytest.raises(OutOfRangeError, match=said):
        obtain._span(at_h(starts_h), at_h(ends_h), history_s)


def copy_of(fetched_h: float, series=None, *, hours: int = 60, issued=None) -> KeptCopy:
    made = series_of(
        np.full(hours, 20.0), origins=(origin_of(issued=issued, fetched=fetched_h),)
    )
    return KeptCopy(series=made if series is None else series, fetched_at=at_h(fetched_h))


def holding(*copies: KeptCopy) -> Made:
    return Made(copies=lambda: list(copies), folder=Path("/store"))


QUERY = Made(now=NOW, spans=(SPAN,))


def test_copies_of_the_future_do_not_serve():
    copies = [copy_of(h) for h in (14.0, 13.01, 13.0, 9.0)]
    found = obtain._past_copies(holding(*copies), QUERY)
    assert [copy.fetched_at for copy in found] == [at_h(13.0), at_h(9.0)]


@pytest.mark.parametrize(
    ("had_h", "kept_h", "hours", "found"),
    [
        # Five hours old at noon and six allowed; or ten, and a copy of three is there.
        (7.0, 9.0, 60, False), (6.0, 9.0, 60, False), (5.9, 9.0, 60, True),
        (2.0, 9.0, 60, True), (2.0, 2.0, 60, False), (2.0, 1.0, 60, False),
        (2.0, 9.0, 48, False), (2.0, 9.0, 49, True), (None, 9.0, 60, False),
    ],
)  # fmt: skip
def test_a_newer_copy_serves_where_what_was_had_is_too_old(had_h, kept_h, hours, found):
    kind = "observed" if had_h is None else "forecast"
    fresh = series_of(np.full(60, 20.0), origins=(origin_of(kind, issued=had_h),))
    store = holding(copy_of(10.0, issued=kept_h, hours=hours))
    assert (obtain._newer_copy(fresh, QUERY, store, 6 * H) is not None) == found


def test_only_what_was_seen_beats_a_copy():
    origins = (origin_of("observed"), origin_of("forecast"))
    found = obtain._observed(resting_on(origins, (0, 1, 1)))
    assert found.temp_c[0] == 20.0
    assert np.isnan(found.temp_c[1:]).all()
    assert obtain._observed(resting_on(origins, (1, 1))) is None


@pytest.mark.parametrize(("pieces", "code"), [(1, "weather.copy"), (2, "weather.copy_mixed")])
def test_a_copy_that_serves_is_told_with_its_age(pieces, code):
    copy = copy_of(9.0)
    found = obtain._from_copy(copy, [copy.series] * pieces, QUERY, (Message("net.nothing"),))
    told = found.warnings[0]
    assert (told.code, told.values["age_s"]) == (code, 3 * H)


def best(series=(), *, copies=(), keeps=False, max_h=6.0):
    """What is taken of fresh series and of copies, and what was put into the store."""
    put = []
    store = holding(*copies)
    store.keep = lambda _, *, fetched_at: put.append(fetched_at)
    results = [
        Made(series=one, failure=None, reason=None, rank=rank)
        for rank, one in enumerate(series)
    ]
    fetched = Fetched(results=tuple(results[::-1]), out_of_time=False)
    found = obtain._best(fetched, QUERY, store, max_h * H, keeps=keeps, zone=UTC)
    return found, put


def fresh_of(temp_c: float, hours: int = 60, *, issued: float = 10.0, kind: str = "forecast"):
    return series_of(np.full(hours, temp_c), origins=(origin_of(kind, issued=issued),))


def test_of_two_services_the_first_in_rank_gives_the_hours():
    found, put = best([fresh_of(20.0), fresh_of(25.0)], keeps=True)
    assert (found.temp_c[30], put, found.warnings) == (20.0, [NOW], ())
    _, put = best([fresh_of(20.0)])
    assert put == []


def test_fresh_weather_that_does_not_reach_is_filled_up_from_a_copy():
    found, put = best([fresh_of(20.0, hours=30)], copies=[copy_of(9.0)], keeps=True)
    assert (found.temp_c[40], put) == (20.0, [])
    assert found.warnings[0].code == "weather.copy_mixed"
    assert found.warnings[0].values["why"] == (Message("provider.short"),)
    short, whole = copy_of(10.0, hours=40), copy_of(9.0)
    found, _ = best([fresh_of(25.0, hours=30)], copies=[short, whole])
    assert found.warnings[0].values["age_s"] == 3 * H
    with pytest.raises(WeatherUnavailableError, match="no kept copy reaches that far"):
        best([fresh_of(20.0, hours=30)], copies=[short])
    with pytest.raises(WeatherUnavailableError, match="no copy kept"):
        best([fresh_of(20.0, hours=30)])


def test_an_old_forecast_gives_way_to_a_newer_copy_but_what_was_seen_stays():
    seen = series_of(np.full(5, 30.0), origins=(origin_of("observed"),))
    found, put = best(
        [seen, fresh_of(25.0, issued=2.0)], copies=[copy_of(10.0, issued=9.0)], keeps=True
    )
    assert (found.temp_c[2], found.temp_c[30], put) == (30.0, 20.0, [])
    assert found.warnings[0].values["why"] == (Message("provider.older"),)
    # Young enough, or with no newer copy, it stays.
    for issued, copies in ((6.0, [copy_of(10.0, issued=9.0)]), (2.0, [])):
        found, _ = best([fresh_of(25.0, issued=issued)], copies=copies)
        assert found.temp_c[30] == 25.0


def test_a_store_that_cannot_be_written_is_told():
    def keep(_, *, fetched_at):
        raise OutputError(f"full at {fetched_at}")

    store = Made(keep=keep, folder=Path("/store"))
    found = obtain._kept(fresh_of(20.0), QUERY, store)
    assert [m.code for m in found.warnings] == ["weather.not_kept"]


def nothing(*failures: str, fresh=None, kept_any: bool = False) -> str:
    fetched = Made(failures=lambda: failures)
    return obtain._nothing(fresh, SPAN, fetched, kept=kept_any, zone=UTC)


@pytest.mark.parametrize(
    ("failure", "cure"),
    [
        ("what", "try again later or nearer the day"),
        ("x.org: answered with a web page (a login?)", "log in to this network in a browser"),
        ("x.org: HTTP 429, asks to be left alone for 119 s", "wait 119 s and try again"),
        ("x.org: HTTP 429, asks to be left alone for 120 s", "wait 2 min and try again"),
        ("x.org: HTTP 429, asks to be left alone for 121 s", "wait 3 min and try again"),
    ],
)
def test_what_to_do_stands_before_why_there_is_no_weather(failure, cure):
    assert nothing(failure).startswith(f"no weather: {cure}, or set source")


def test_a_line_of_reasons_tells_what_lacks_and_is_cut_at_its_end():
    assert "24 h missing, 2013-07-18 00:00 to 2013-07-19 00:00" in nothing("what")
    part = nothing("what", fresh=fresh_of(20.0, hours=40))
    assert "9 h missing, 2013-07-18 16:00 to 2013-07-19 00:00" in part
    assert "the hours given do not reach" in nothing()
    # What only wants a setting is told of last, and brackets alone of what has them.
    assert nothing("set contact", "no hour (x.org: HTTP 404)").endswith(
        "(x.org: HTTP 404; set contact)"
    )
    whole = 190 - len(nothing(""))
    assert nothing("x" * whole).endswith("x)")
    assert len(nothing("x" * whole)) == 190
    assert nothing("x" * (whole + 1)).endswith("x...)")
    assert len(nothing("x" * (whole + 1))) == 190


@pytest.mark.parametrize(
    ("known_from", "codes", "had_h"), [(0, [], None), (1, ["weather.history_short"], 23.0)]
)
def test_a_history_that_is_short_is_told(known_from, codes, had_h):
    wave = 20.0 + 6.0 * np.sin(2 * np.pi * (np.arange(49) - 9) / 24)
    wave[:known_from] = np.nan
    series = series_of(wave, origins=(origin_of("observed"),))
    place = Made(latitude_deg=40.0, longitude_deg=0.0, elevation_m=3.0)
    query = Made(now=NOW, spans=(SPAN,), **vars(place))
    found = obtain._finished(series, query, 6 * H)
    told = [m for m in found.warnings if m.code == "weather.history_short"]
    assert [m.code for m in told] == codes
    assert [m.values["had_h"] for m in told] == ([] if had_h is None else [had_h])
    assert [m.values["wanted_h"] for m in told] == [24.0] * len(told)
    assert found.epoch_s[0] == JULY_17_S + known_from * H
    assert found.epoch_s[-1] == JULY_17_S + 48 * H


# Past months


def month_of(year: int, *, lacks: int = 0):
    first = utc(year, 7, 1).timestamp() - H
    temp_c = np.full(24 * 31 + 3, 20.0)
    temp_c[:lacks] = np.nan
    return series_of(temp_c, first_s=first)


OVER = utc(2013, 8, 1, 2)


def season(monkeypatch, *, month=7, years=2, kept_of=(), came=(), why=("shut",)):
    """Which years are asked for and put away, where some are kept and some come."""
    asked, put = [], []

    class Shelf:
        def __init__(self, *, provider, **_):
            self.year = int(provider.split("-")[1])

        def copies(self):
            return [Made(series=s) for year, s in kept_of if year == self.year]

        def keep(self, _, *, fetched_at):
            put.append((self.year, fetched_at))

    def fetch(query, *_):
        asked.extend(span.starts.year for span in query.spans)
        results = [Made(span_index=n, series=s, failure=None) for n, s in came]
        return Made(results=results, failures=lambda: why)

    monkeypatch.setattr(seasons, "WeatherStore", Shelf)
    monkeypatch.setattr(seasons, "fetch_with_folder", fetch)
    found = seasons.season_nights(
        latitude_deg=40.0, longitude_deg=0.0, elevation_m=3.0, month=month, years=years,
        zone=UTC, history_s=H, tail_s=H, now=OVER, store_folder=Path("/store"),
    )  # fmt: skip
    return len(found), asked, put


def test_years_that_are_kept_are_not_asked_for(monkeypatch):
    months = [(year, month_of(year)) for year in (2012, 2013)]
    assert season(monkeypatch, kept_of=months) == (2, [], [])
    assert season(monkeypatch, kept_of=months[1:], came=[(0, months[0][1])]) == (
        2, [2012], [(2012, OVER)]
    )  # fmt: skip
    assert season(monkeypatch, kept_of=months[:1], came=[(0, None)]) == (1, [2013], [])


@pytest.mark.parametrize(("lacks", "is_kept"), [(74, True), (75, False)])
def test_a_year_of_nine_hours_in_ten_is_put_away(monkeypatch, lacks, is_kept):
    # 746 h are wanted, 747 rows: of 74.6 that may lack, 74.
    part = month_of(2013, lacks=lacks)
    count, asked, put = season(monkeypatch, years=1, came=[(0, part)])
    assert (count, asked, bool(put)) == (1, [2013], is_kept)
    _, asked, _ = season(monkeypatch, years=1, kept_of=[(2013, part)], came=[(0, part)])
    assert asked == ([] if is_kept else [2013])


@pytest.mark.parametrize(
    ("why", "told"), [(("shut", "far"), "shut; far"), ((), "no station has them")]
)
def test_without_any_year_the_reasons_are_told(monkeypatch, why, told):
    with pytest.raises(WeatherUnavailableError, match=rf"could be had \({told}\)"):
        season(monkeypatch, why=why)


@pytest.mark.parametrize(
    ("month", "years", "refused"),
    [(1, 1, False), (12, 60, False), (0, 1, True), (13, 1, True), (1, 0, True), (1, 61, True)],
)
def test_months_are_twelve_and_years_sixty_at_most(monkeypatch, month, years, refused):
    if refused:
        with pytest.raises(OutOfRangeError, match="month must lie"):
            season(monkeypatch, month=month, years=years)
        return
    with pytest.raises(WeatherUnavailableError):
        season(monkeypatch, month=month, years=years)


@pytest.mark.parametrize(
    ("month", "now", "years", "first", "last"),
    [
        # July is over, its hour of tail too, at one o'clock of the first of August.
        (7, utc(2013, 8, 1, 1), (2012, 2013), (7, 1), (8, 1)),
        (7, utc(2013, 8, 1, 0, 59), (2011, 2012), (7, 1), (8, 1)),
        (12, utc(2014, 1, 1, 1), (2012, 2013), (12, 1), (1, 1)),
        (11, utc(2013, 12, 5), (2012, 2013), (11, 1), (12, 1)),
        (1, utc(2013, 1, 5), (2011, 2012), (1, 1), (2, 1)),
    ],
)  # fmt: skip
def test_the_last_years_in_which_a_month_is_over(month, now, years, first, last):
    spans = seasons._spans(month, 2, UTC, history_s=H, tail_s=H, now=now)
    assert tuple(spans) == years
    span = spans[years[1]]
    assert (span.starts.month, span.starts.day, span.starts.hour) == (*first, 0)
    assert span.wanted_from == span.starts - timedelta(hours=1)
    assert (span.ends.month, span.ends.day, span.ends.hour) == (*last, 1)
    assert span.ends.year == years[1] + (month == 12)
