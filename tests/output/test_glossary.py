"""The glossary of the trade's words, and Spanish as it is said in two countries."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from cureplan.api import read_job
from cureplan.output.language import Voice
from cureplan.output.language.catalogue import FOLDER, catalogue

ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in (FOLDER / "glossary.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("|")
][2:]


def said(language: str) -> str:
    """All that a catalogue can say."""
    own = catalogue(language)
    texts = [*own.labels.values(), *own.words.values(), *own.sayings.values()]
    texts += [text for caution in own.cautions for text in caution]
    return re.sub(r"\{[^{}]*\}", "", "\n".join(texts)).casefold()


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_each_word_of_the_trade_is_the_one_that_is_said(row: list[str]):
    english, spanish, mexico, spain, _, others = row
    for language, word in (
        ("en", english),
        ("es", spanish),
        ("es-MX", mexico or spanish),
        ("es-ES", spain or spanish),
    ):
        text = said(language)
        assert word.casefold() in text, language
        # A neutral word that is said otherwise there is not said there at all.
        if language.startswith("es-") and word != spanish:
            assert re.search(rf"\b{spanish.casefold()}\b", text) is None, language
        for other in filter(None, (each.strip() for each in others.split(","))):
            assert re.search(rf"\b{other.casefold()}\b", text) is None, (language, other)


@pytest.mark.parametrize("language", ["es-MX", "es-ES"])
def test_a_regional_catalogue_only_names_what_differs(language: str):
    base, own = catalogue("es"), catalogue(language)
    for name in ("labels", "words", "sayings"):
        assert getattr(base, name).keys() == getattr(own, name).keys()
    changed = {key for key, text in own.sayings.items() if text != base.sayings[key]}
    assert 0 < len(changed) < 40
    assert own.labels["language"] != base.labels["language"]


def test_a_job_may_ask_for_either(tmp_path, sample_words):
    file = tmp_path / "job.toml"
    from cureplan.api import demo_job_path

    text = demo_job_path("school-kitchen").read_text(encoding="utf-8")
    text = re.sub(r"^languages = .*$", 'languages = ["es-ES", "es-MX"]', text, flags=re.M)
    weather = demo_job_path("school-kitchen").parent
    for other in weather.iterdir():
        if other.suffix == ".csv":
            (tmp_path / other.name).write_bytes(other.read_bytes())
    file.write_text(text, encoding="utf-8")
    job = read_job(file)
    assert job.languages == ("es-ES", "es-MX")
    zone = ZoneInfo("UTC")
    voices = [
        Voice(language=each, display="us", zone=zone, around=datetime(2013, 7, 17, tzinfo=UTC))
        for each in job.languages
    ]
    assert voices[0].label("title") == "Hoja de vertido"
    assert voices[1].label("script.use.storage") == "bodega"
