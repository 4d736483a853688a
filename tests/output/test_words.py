"""Words: every code has them in every language, and rounding never flatters."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from string import Formatter
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

import cureplan
import cureplan.output.language as language_module
from cureplan.core.errors import OutOfRangeError
from cureplan.core.messages import Message
from cureplan.output.language import LANGUAGES, Voice, placeholders, say
from cureplan.output.language.catalogue import PLURALS, catalogue, plural_rule
from cureplan.output.language.clean import display_width, fit, one_line
from cureplan.planning.schedule.changes import TASK_OF
from cureplan.weather.hours.remarks import REMARKS

NEW_YORK = ZoneInfo("America/New_York")
ENGLISH = Voice(language="en", display="us", zone=NEW_YORK)
SPANISH = Voice(language="es", display="metric", zone=NEW_YORK)
OTHERS = [language for language in LANGUAGES if language != "en"]
TABLES = ("labels", "words", "sayings")
# One value of the right kind for each suffix, to try every template.
TRIAL = {
    "at": "2013-07-18T01:40:00+00:00",
    "frac": 0.93,
    "room": "Cook line",
    "rooms": "Cook line; Corridor",
}


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("language", OTHERS)
def test_every_language_has_the_same_keys(language: str, name: str):
    english, own = getattr(catalogue("en"), name), getattr(catalogue(language), name)
    assert sorted(english) == sorted(own)


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("language", OTHERS)
def test_every_language_asks_for_the_same_values(language: str, name: str):
    english, own = getattr(catalogue("en"), name), getattr(catalogue(language), name)
    differing = {
        key: placeholders(english[key]) ^ placeholders(own[key])
        for key in english
        if placeholders(english[key]) != placeholders(own[key])
    }
    assert differing == {}


@pytest.mark.parametrize("language", LANGUAGES)
def test_whatever_is_counted_has_every_plural_form_of_its_language(language: str):
    own = catalogue(language)
    wanted = {*own.plurals, "other"}
    assert wanted <= set(PLURALS)
    assert [name for name in PLURALS if name in own.plurals] == list(own.plurals)
    # The sample's own sentences are no part of a catalogue.
    told = [
        text
        for name in TABLES
        for key, text in getattr(own, name).items()
        if not key.startswith("sample.")
    ]
    specs = [spec for text in told for _, _, spec, _ in Formatter().parse(text) if spec]
    counted = [spec for spec in specs if "=" in spec]
    assert counted
    assert [s for s in counted if {form.split("=")[0] for form in s.split("|")} != wanted] == []


@pytest.mark.parametrize(
    ("number", "shown"),
    # By hand, as Polish counts: 1 wiadro; 2-4, 22-24 wiadra; 0, 5-21, 25 wiader.
    [(1, "1 wiadro"), (2, "2 wiadra"), (4, "4 wiadra"), (5, "5 wiader"), (12, "12 wiader"),
     (14, "14 wiader"), (21, "21 wiader"), (22, "22 wiadra"), (0, "0 wiader")],
)  # fmt: skip
def test_a_language_with_three_plurals_can_be_filled_in(monkeypatch, number: int, shown: str):
    rules = {
        "one": plural_rule("n = 1"),
        "few": plural_rule("n % 10 = 2..4 and n % 100 != 12..14"),
    }
    polish = replace(catalogue("en"), plurals=rules)
    monkeypatch.setattr(language_module, "catalogue", {"en": polish}.__getitem__)
    assert ENGLISH.fill("{n:one=wiadro|few=wiadra|other=wiader}", {"n": number}) == shown


@pytest.mark.parametrize("rule", ["", "n", "x = 1", "n % 10 = ", "n > 2", "n = 1 and"])
def test_what_is_no_plural_rule_is_refused(rule: str):
    with pytest.raises(OutOfRangeError, match="no plural rule"):
        plural_rule(rule)


@pytest.mark.parametrize("language", OTHERS)
def test_every_language_has_the_same_cautions(language: str):
    assert len(catalogue("en").cautions) == len(catalogue(language).cautions)


@pytest.mark.parametrize("subject", ["50 µg/m³", "25 µg/m³", "29 CFR 1926.1153", "GFCI|ground"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_cautions_name_the_limits_of_silica_and_the_ground_fault(subject: str, language: str):
    # Published: 29 CFR 1926.1153 (c) and (b); see the evidence list, section 8.
    text = " ".join(part for pair in catalogue(language).cautions for part in pair)
    assert re.search(subject, text)


def _codes_in_the_source() -> set[str]:
    package = Path(cureplan.__file__).parent
    found: set[str] = set()
    for path in package.rglob("*.py"):
        if "output" not in path.relative_to(package).parts:
            found |= set(re.findall(r'\bMessage\(\s*"([a-z_.0-9]+)"', path.read_text("utf-8")))
    return found


def test_every_code_written_in_the_planning_has_words():
    codes = _codes_in_the_source() - {"pour.margin"}  # the example in messages.py
    assert codes
    assert sorted(codes - catalogue("en").sayings.keys()) == []


@pytest.mark.parametrize("voice", [ENGLISH, SPANISH], ids=["en", "es"])
@pytest.mark.parametrize("code", sorted(catalogue("en").sayings))
def test_every_saying_can_be_said(voice: Voice, code: str):
    values = {}
    template = catalogue(voice.language).sayings[code]
    for name, spec in placeholders(template):
        suffix = name.rpartition("_")[2]
        values[name] = TRIAL.get(name, TRIAL.get(suffix, 2.5 if "_" in name else 2))
        if spec == "word":
            words = {
                "binding": "wet_edge",
                "limit": "mixing",
                "kind": "file",
                "key": "pace.rake",
            }
            values[name] = words.get(name, "invented" if name == "origin" else "chill")
        if spec == "count":
            values[name] = 1
        if spec == "lines":
            values[name] = (Message("none.no_way", {}),)
    text = voice.say(Message(code, values))
    assert text.strip()
    assert "{" not in text


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_chance_is_shown_as_certain_and_other_shares_are(language: str):
    voice = Voice(language=language, display="metric", zone=ZoneInfo("UTC"))
    assert "100" not in voice.show("keeps_frac", 1.0, "percent")
    assert "99" in voice.show("keeps_frac", 1.0, "percent")
    assert "100" in voice.show("wanted_frac", 1.0, "percent")
    # How much faster kits become has no such end: a rate of 2.4 is 140 % more.
    assert "140" in voice.show("rate_frac", 1.4)


def test_an_unknown_code_is_refused():
    with pytest.raises(OutOfRangeError, match=r"no en words for code 'no\.such'"):
        ENGLISH.say(Message("no.such"))


def test_a_missing_value_is_refused_by_name():
    with pytest.raises(OutOfRangeError, match=r"sample\.warn: no value for \{room\}"):
        ENGLISH.say(Message("sample.warn", {}))


@pytest.mark.parametrize(
    ("template", "value"),
    [("{x_min:sideways}", 2.0), ("{x_frac:nights}", 1.2), ("{x_c:up}", 20.0), ("{x}", 2.5)],
    ids=["no such spec", "share above one", "spec of another kind", "no unit"],
)
def test_what_cannot_be_shown_is_refused(template: str, value: float):
    with pytest.raises(OutOfRangeError):
        ENGLISH.fill(template, {next(iter(placeholders(template)))[0]: value})


def test_sentences_stand_on_lines_of_their_own():
    said = ENGLISH.show("why", (Message("none.no_way", {}),) * 2, "lines")
    assert said == "\n- No change that was tried would do." * 2


def test_a_weekday_a_week_off_is_told_with_its_date():
    # By hand: 17 July 2013 was a Wednesday; the 24th was one as well, the 23rd a Tuesday.
    begins = datetime(2013, 7, 17, 23, tzinfo=UTC)
    voice = replace(ENGLISH, around=begins)
    assert voice.at(begins) == "Wed 19:00"
    assert voice.at(begins + timedelta(days=6)) == "Tue 19:00"
    assert voice.at(begins + timedelta(days=7)) == "Wed 24 Jul 19:00"
    assert voice.at(begins + timedelta(days=7), "time") == "19:00"
    assert voice.at(begins - timedelta(days=7)) == "Wed 10 Jul 19:00"


def test_an_unknown_language_is_refused():
    with pytest.raises(OutOfRangeError, match="'xx'"):
        Voice(language="xx", display="us", zone=NEW_YORK)


@pytest.mark.parametrize(
    ("name", "value", "spec", "english", "spanish"),
    [
        # 28 C is 82.4 F, 5 K is 9 F: the definition of the scale.
        ("slab_c", 28.0, "", "82 °F", "28.0 °C"),
        ("gap_k", 5.0, "", "9 °F", "5.0 °C"),
        ("margin_min", 2.9, "", "2 min", "2 min"),
        ("margin_min", -0.2, "short", "1 min", "1 min"),
        ("margin_min", -0.2, "bare", "-1", "-1"),
        ("wait_h", 3.501, "up", "3 h 31 min", "3 h 31 min"),
        ("cadence_s", 210.0, "exact", "3 min 30 s", "3 min 30 s"),
        # 1 gal is 231 cubic inches, 1 lb 0.45359237 kg, 1 ft 0.3048 m: exact.
        ("volume_m3", 0.003785411784, "", "1.0 gal", "3.8 L"),
        ("ice_kg", 4.5359237, "", "10.0 lb", "4.5 kg"),
        ("keeps_frac", 0.949, "", "94%", "94 %"),
        ("keeps_frac", 0.949, "nights", "94 nights in 100", "94 noches de cada 100"),
        (
            "keeps_frac",
            0.002,
            "nights",
            "fewer than 1 night in 100",
            "menos de 1 noche de cada 100",
        ),
        # 21:40 at an offset of -4 h, a Wednesday.
        ("by_at", "2013-07-18T01:40:59+00:00", "", "Wed 21:40", "mié 21:40"),
        ("by_at", "2013-07-18T01:40:01+00:00", "up", "Wed 21:41", "mié 21:41"),
        ("by_at", "2013-07-18T01:40:59+00:00", "day", "Wed 17 Jul", "mié 17 jul"),
        ("kits", 1, "one=kit|other=kits", "1 kit", "1 kit"),
        ("binding", "wet_edge", "word", "the wet edge", "la orilla fresca"),
        ("dew_c", None, "", "not known", "no se sabe"),
    ],
)
def test_a_value_is_shown_by_its_suffix(name, value, spec, english, spanish):
    assert ENGLISH.show(name, value, spec) == english
    assert SPANISH.show(name, value, spec) == spanish


@pytest.mark.parametrize(("voice", "pours"), [(ENGLISH, "pour"), (SPANISH, "colar")])
def test_a_crew_let_in_sooner_may_pour_sooner_as_well(voice: Voice, pours: str):
    # Let in hours before a shift whose begin stays, nobody would pour a minute sooner.
    values = {"keeps": "keeps.chance", "from_at": "2013-07-18T12:30:00-04:00"}
    told = voice.say(Message("relax.in_sooner", values))
    assert f" {pours} " in told
    assert "12:30" in told


@pytest.mark.parametrize(("voice", "shift"), [(ENGLISH, "shift"), (SPANISH, "turno")])
def test_what_cannot_be_kept_so_surely_need_not_be_a_coat(voice: Voice, shift: str):
    # Coats may hold on 99 nights in 100 where it is the end of a shift that does not.
    values = {"wanted_frac": 0.9, "held_frac": 0.5}
    told = voice.say(Message("warn.less_sure", values))
    assert f" {shift} " in told
    assert "90" in told
    assert "50" in told


def test_lengths_change_their_unit_names_in_spanish():
    spanish_us = Voice(language="es", display="us", zone=NEW_YORK)
    assert spanish_us.show("depth_m", 4.4196) == "14 pies 6 pulg"
    assert spanish_us.show("area_m2", 61.3160064) == "660 pies²"


def test_say_is_the_voice_in_one_call():
    sentence = Message(
        "sample.start", {"room": "Servery", "start_at": "2013-07-18T01:40:00+00:00"}
    )
    assert say(sentence, "en", "us", NEW_YORK) == "Servery first, Wed 21:40"


def test_both_readings_of_a_repeated_hour_are_told_apart():
    # Clocks went back at 06:00 UTC on 3 November 2013: 01:30 came twice.
    before = datetime(2013, 11, 3, 5, 30, tzinfo=UTC)
    assert ENGLISH.at(before) == "Sun 01:30 EDT"
    assert ENGLISH.at(before + timedelta(hours=1)) == "Sun 01:30 EST"
    assert ENGLISH.at(before + timedelta(hours=2)) == "Sun 02:30"


@given(minutes=st.floats(-600, 600))
def test_time_in_hand_is_never_flattered(minutes: float):
    shown = int(ENGLISH.show("margin_min", minutes, "bare"))
    assert shown <= minutes + 1e-4
    assert shown > minutes - 1


@given(seconds=st.integers(0, 10_000_000))
def test_opening_times_are_never_early_and_closing_times_never_late(seconds: int):
    instant = datetime(2013, 7, 17, tzinfo=UTC) + timedelta(seconds=seconds)
    whole = instant.replace(second=0)
    later = whole if whole == instant else whole + timedelta(minutes=1)
    assert ENGLISH.at(instant, "time") == f"{whole.astimezone(NEW_YORK):%H:%M}"
    assert ENGLISH.at(instant, "time_up") == f"{later.astimezone(NEW_YORK):%H:%M}"


@given(share=st.floats(0, 1))
def test_a_share_is_never_rounded_up(share: float):
    shown = int(ENGLISH.show("keeps_frac", share, "percent").rstrip("%"))
    assert shown <= math.floor(share * 100 + 1e-9)


@given(text=st.text(max_size=80))
def test_a_name_becomes_one_line_without_control_signs(text: str):
    line = one_line(text)
    assert len(line.splitlines()) <= 1
    assert not re.search("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\ud800-\udfff]", line)
    # A cleaned name stays as it is.
    assert one_line(line) == line


@given(text=st.text(max_size=60), width=st.integers(1, 40))
def test_a_fitted_text_takes_no_more_than_its_columns(text: str, width: int):
    assert display_width(fit(one_line(text), width)) <= width


@pytest.mark.parametrize("language", ["en", "es"])
def test_what_is_said_of_the_weather_is_short(language):
    # Names and numbers taken as ten signs each.
    said = catalogue(language).sayings
    long = {
        code: len(text)
        for code in REMARKS
        if len(text := re.sub(r"\{[^{}]*\}", "x" * 10, said[code])) > 200
    }
    assert long == {}


@pytest.mark.parametrize(
    ("language", "names", "said"),
    [
        ("en", "5", "5"),
        ("en", "5; 6", "5 and 6"),
        ("en", "Bar; Cook line; Island", "Bar, Cook line and Island"),
        ("es", "5; 6", "5 y 6"),
        # "y" is "e" before the sound of i, but not before that of ie.
        ("es", "Bar; Patio; Isla", "Bar, Patio e Isla"),
        ("es", "Agua; Hielo", "Agua y Hielo"),
        # A name with a comma is told from the next by more than one.
        ("en", "Topcoat; Quartz, broadcast", "Topcoat; Quartz, broadcast"),
        # Written before lists were said so.
        ("en", "Bar, Hall", "Bar, Hall"),
    ],
)
def test_several_rooms_and_buckets_are_said_as_people_say_them(language, names, said):
    voice = Voice(language=language, display="us", zone=ZoneInfo("America/New_York"))
    for name in ("room", "rooms", "buckets"):
        assert voice.fill(f"{{{name}}}.", {name: names}) == f"{said}."
    assert voice.fill("{remedies:list}", {"remedies": names}) == said


def test_more_hands_are_said_by_heads():
    def said(language: str, hands: str) -> str:
        voice = Voice(language=language, display="metric", zone=ZoneInfo("UTC"))
        return voice.say(Message("relax.more_hands", {"keeps": "chance", "hands": hands}))

    assert said("en", "mixing.2; rake").endswith(
        "with two more mixing stations and their mixers and one more rake"
    )
    assert said("es", "haul.3").endswith("con tres acarreadores más")
    named = [f"{task}{n}" for task in {*TASK_OF.values(), "mixing"} for n in ("", ".2", ".3")]
    for language in ("en", "es"):
        assert {f"hands.{name}" for name in named} <= catalogue(language).words.keys()
