"""Words for people: a `Message` or a fixed label, in the language of a catalogue.

A language is one file here, `en.toml` for English: its plural rules, labels, words, sayings.

A template is plain text with placeholders `{name}` or `{name:spec}`. The suffix of the
name tells the kind of value, the spec how to show it:

====================  =====================================================================
`_c`, `_k`            temperature, difference of temperatures
`_min`, `_s`, `_h`    duration, rounded down; `:up` rounds up (times to wait);
                      `:short` drops the sign and rounds away from zero ("5 min short");
                      `:tenths` is to the nearest tenth of a minute;
                      `:bare` is the minutes without their unit, for columns;
                      `:exact` shows seconds (the pace of the pour); `:age` is "20 h" or
                      "4 days"; `:whole` is the bare number
`_at`                 ISO instant as local "Wed 21:40", rounded down; `:up` rounds up;
                      `:time` and `:time_up` leave the day out, `:then` and `:then_up`
                      only if it is that of the instant before; `:day` is "Wed 17 Jul"
`_kg` `_m` `_m2`      mass, length, area; `_m:film` is a film's thickness
`_m2_s`, `_m_s`       area or length covered in a minute
`_m3`                 volume of a liquid
`_frac`               percent, rounded down; `:nights` is "92 nights in 100"
any, `:words`         a list of codes with "; " between, each looked up as by `:word`;
                      those without a word stay
any, `:list`          the same as it is said: "ice, bays and a cool filler"
room, rooms, buckets  names with "; " between, as they are said: "5 and 6"; with forms as
                      below, `{buckets:one=bucket|other=buckets}`: "buckets 5 and 6"
any, `:log`           the line of a night's log: as the sheet's own list names it where it is
                      read on a sheet, elsewhere as it is written into a file
any, `:word`          the value is itself a code, looked up among the words, first as
                      `name.value`: the step "rake" that sets a `limit` is no role
a sentence, several   said, with "; " between and no full stop at the end; `:lines` gives
                      each a line of its own below
whole numbers         `{kits:one=kit|other=kits}` counts: "1 kit", "8 kits"; a form for
                      each plural category the catalogue has a rule for, and "other"
other texts           shown as they are (names), made harmless: one line, no control signs
====================  =====================================================================

An unknown code, a missing value or a spec that does not fit is an error, never a gap on
a sheet.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from string import Formatter
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from cureplan.core.clock import ceil_to, floor_to
from cureplan.core.errors import OutOfRangeError
from cureplan.core.messages import Message, Value
from cureplan.core.quantities import (
    format_area,
    format_film,
    format_length,
    format_mass,
    format_pace,
    format_temperature,
    format_temperature_difference,
    format_volume,
)
from cureplan.output.language.catalogue import LANGUAGES, Catalogue, catalogue
from cureplan.output.language.clean import one_line
from cureplan.output.language.time_words import (
    age_text,
    clock_text,
    duration_text,
    instant_text,
    share_text,
)

MOST_CERTAIN = 0.99
"""A chance is never shown as more."""

if TYPE_CHECKING:
    from cureplan.inputs.job.model import Job

__all__ = ["LANGUAGES", "MOST_CERTAIN", "Voice", "placeholders", "say"]

Display = Literal["us", "metric"]
Clock = Literal["12 h", "24 h"]

# So far off no other day of that name could be meant.
ONE_WEEKDAY = timedelta(days=6)
# How much faster something goes, and the doubt of it, has no upper end as a chance has.
_LISTED = ("room", "rooms", "buckets")
_SOUNDS_I = re.compile(r"h?[ií](?![aeoáéó])", re.IGNORECASE)
_CHANGES = frozenset({"rate_frac", "off_frac", "doubt_frac"})
_SECONDS = {"min": 60.0, "s": 1.0, "h": 3600.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """One language, one set of units, one zone: everything a sheet speaks with.

    Examples
    --------
    >>> voice = Voice(language="en", display="us", zone=ZoneInfo("America/New_York"))
    >>> voice.fill("{gain_min} more, ice by {in_ice_at}",
    ...            {"gain_min": 5.9, "in_ice_at": "2013-07-18T01:40:00+00:00"})
    '5 min more, ice by Wed 21:40'
    """

    language: str
    display: Display
    zone: ZoneInfo
    around: datetime | None = None
    """A weekday alone means the one nearest to this; farther off its date is told."""
    clock: Clock = "24 h"
    read_at: datetime | None = None
    """When it is read: a weekday more than six days from then gets its date as well."""
    on_sheet: bool = False
    """Whether what is to be written down is picked from the sheet's own list."""

    def __post_init__(self) -> None:
        catalogue(self.language)

    @classmethod
    def of_job(
        cls,
        job: Job,
        language: str,
        *,
        read_at: datetime | None = None,
        on_sheet: bool = False,
    ) -> Voice:
        """The voice for what concerns a job: its units, its clock, its site's time."""
        return cls(
            language=language,
            display=job.display,
            clock=job.clock,
            zone=job.site.zone,
            around=job.access.begins,
            read_at=read_at,
            on_sheet=on_sheet,
        )

    @property
    def own(self) -> Catalogue:
        """The catalogue it speaks from."""
        return catalogue(self.language)

    def say(self, sentence: Message) -> str:
        """Put a sentence of the planning into words."""
        template = self.own.sayings.get(sentence.code)
        if template is None:
            raise OutOfRangeError(f"no {self.language} words for code {sentence.code!r}")
        try:
            return self.fill(template, sentence.values)
        except OutOfRangeError as error:
            raise OutOfRangeError(f"{sentence.code}: {error}") from None

    def label(self, key: str, **values: Value) -> str:
        """A fixed label of the sheets, filled in."""
        template = self.own.labels.get(key)
        if template is None:
            raise OutOfRangeError(f"no {self.language} label {key!r}")
        return self.fill(template, values)

    def labels_under(self, prefix: str) -> dict[str, str]:
        """Templates whose key starts so, unfilled and without the prefix, for the script."""
        labels = self.own.labels.items()
        return {
            key.removeprefix(prefix): text for key, text in labels if key.startswith(prefix)
        }

    def word(self, code: str) -> str:
        """The word for a value which is itself a code, such as a binding or a role."""
        word = self.own.words.get(code)
        if word is None:
            raise OutOfRangeError(f"no {self.language} word for {code!r}")
        return word

    def word_or_text(self, text: str) -> str:
        """The word for a known code; any other text as it is."""
        return self.own.words.get(text) or one_line(text)

    def fill(self, template: str, values: Mapping[str, Value]) -> str:
        """Fill a template's placeholders."""
        parts = []
        day: date | None = None
        for literal, name, spec, _ in Formatter().parse(template):
            parts.append(literal)
            if name is None:
                continue
            if name not in values:
                raise OutOfRangeError(f"no value for {{{name}}}")
            value, how = values[name], spec or ""
            if name.endswith("_at") and isinstance(value, str):
                before, day = day, self._day(value, how)
                how = _after_day(how, same=before == day)
            text = self.show(name, value, how)
            if name == "temp_c" and "limit_c" in values:
                text = self._beside(text, float(str(value)), float(str(values["limit_c"])))
            parts.append(text)
        return "".join(parts)

    def _beside(self, text: str, temp_c: float, limit_c: float) -> str:
        """A temperature so fine that it is not shown as the limit that it breaks."""
        limit = self.show("limit_c", limit_c)
        for finer in range(1, 4):
            if text != limit:
                break
            text = self._units(format_temperature(temp_c, self.display, finer=finer))
            limit = self._units(format_temperature(limit_c, self.display, finer=finer))
        return text

    def _day(self, instant: str, spec: str) -> date:
        """The day on the site's wall, as shown."""
        snap = ceil_to if spec.endswith("up") else floor_to
        return snap(datetime.fromisoformat(instant).astimezone(self.zone), minutes=1).date()

    def show(self, name: str, value: Value, spec: str = "") -> str:
        """One value, by the suffix of its name."""
        if value is None:
            return self.label("unknown")
        if isinstance(value, Message | tuple):
            sentences = (value,) if isinstance(value, Message) else value
            if spec == "lines":
                return "".join(
                    f"\n- {self.say(sentence).rstrip('.')}." for sentence in sentences
                )
            return "; ".join(self.say(sentence).rstrip(".") for sentence in sentences)
        if spec == "log":
            return self._to_log(name, str(value))
        if spec == "word":
            words = self.own.words
            return words.get(f"{name}.{value}") or self.word(str(value))
        if spec in ("words", "list"):
            words, codes = self.own.words, str(value).split("; ")
            parts = [words.get(f"{name}.{one}") or self.word_or_text(one) for one in codes]
            return "; ".join(parts) if spec == "words" else self.listed(parts)
        if "=" in spec:
            forms = dict(form.split("=", 1) for form in spec.split("|"))
            if name in _LISTED:
                names = str(value).split("; ")
                form = forms.get(self.own.plural(len(names)), forms["other"])
                return f"{form} {self.listed([one_line(part) for part in names])}"
            form = forms.get(self.own.plural(int(str(value))), forms["other"])
            return f"{value} {form}"
        suffix = name.rpartition("_")[2]
        if isinstance(value, str):
            return self._text(suffix, value, spec)
        return self._number(name, suffix, float(value), spec)

    def _to_log(self, name: str, value: str) -> str:
        """What a night's log says: an event, or an instant."""
        if not name.endswith("_at"):
            event = value.replace(" ", "_")
            return self.label(f"script.event.{event}") if self.on_sheet else value
        at = datetime.fromisoformat(value).astimezone(self.zone)
        if self.on_sheet:
            return self.at(at)
        return f"{at:%Y-%m-%dT%H:%M:%S}" if at.second else f"{at:%Y-%m-%dT%H:%M}"

    def listed(self, parts: Sequence[str]) -> str:
        """Several of a kind, as people say them.

        Examples
        --------
        >>> voice = Voice(language="es", display="metric", zone=ZoneInfo("America/Bogota"))
        >>> voice.listed(["Bar", "Patio", "Isla"]), voice.listed(["5", "6"])
        ('Bar, Patio e Isla', '5 y 6')
        """
        *first, last = parts
        if not first:
            return last
        if any("," in part for part in parts):
            return "; ".join(parts)
        # Spanish changes its "and" before the sound of i.
        key = "list.and_i" if _SOUNDS_I.match(last) else "list.and"
        return self.label(key, first=", ".join(first), last=last)

    def _text(self, suffix: str, value: str, spec: str) -> str:
        if suffix == "at":
            return self.at(datetime.fromisoformat(value), spec)
        if suffix in _LISTED:
            return self.listed([one_line(part) for part in value.split("; ")])
        if suffix in ("clock", "shifts") and self.clock == "12 h":
            # Times of day without a date, as a job writes them.
            return re.sub(r"\b(\d\d):(\d\d)\b", _twelve, one_line(value))
        return one_line(value)

    def _pace(self, name: str, value: float) -> str:
        if name.endswith("_m2_s"):
            return format_pace(value, self.display)
        return format_length(60.0 * value, self.display)

    def _share(self, name: str, value: float, spec: str) -> str:
        if name in _CHANGES and value > 1.0:
            return self.label("percent", count=math.floor(100.0 * value + 1e-9))
        # Counted over nights drawn, nothing is certain.
        certain = name.startswith("keeps") and MOST_CERTAIN < value <= 1.0
        return share_text(MOST_CERTAIN if certain else value, spec, self.label)

    def _number(self, name: str, suffix: str, value: float, spec: str) -> str:
        if spec == "whole":
            return f"{value:.0f}"
        if name.endswith(("_m2_s", "_m_s")):
            return f"{self._units(self._pace(name, value))}/min"
        if suffix in _SECONDS:
            if spec == "age":
                return age_text(value * _SECONDS[suffix], self.label)
            return duration_text(value * _SECONDS[suffix], spec)
        if (suffix, spec) == ("m", "film"):
            return self._units(format_film(value, self.display))
        if suffix == "frac":
            return self._share(name, value, spec)
        if spec:
            raise OutOfRangeError(f"{{{name}:{spec}}} is not a way to show a number")
        formatters: Mapping[str, Callable[[float, Display], str]] = {
            "c": format_temperature,
            "k": format_temperature_difference,
            "m": format_length,
            "m2": format_area,
            "m3": format_volume,
            "kg": format_mass,
        }
        formatter = formatters.get(suffix)
        if formatter is not None:
            return self._units(formatter(value, self.display))
        if value != int(value):
            raise OutOfRangeError(f"{{{name}}} = {value!r} has no unit suffix the sheets know")
        return f"{value:.0f}"

    def at(self, instant: datetime, spec: str = "") -> str:
        """An instant, as the clock on the site's wall shows it."""
        local = instant.astimezone(self.zone)
        near = (at for at in (self.around, self.read_at) if at is not None)
        far = any(abs(instant - at) > ONE_WEEKDAY for at in near)
        if far:
            spec = {"": "full", "down": "full", "up": "full_up"}.get(spec, spec)
        return instant_text(local, spec, self.own.labels, clock=self.clock)

    def _units(self, text: str) -> str:
        number, _, unit = text.partition(" ")
        swaps = self.own.units
        if unit in swaps:
            return f"{number} {swaps[unit]}"
        return " ".join(swaps.get(part, part) for part in text.split(" "))


def _twelve(found: re.Match[str]) -> str:
    return clock_text(int(found[1]), int(found[2]), "12 h")


def _after_day(spec: str, *, same: bool) -> str:
    """`:then` in terms of the other ways to show an instant."""
    if spec == "then":
        return "time" if same else ""
    if spec == "then_up":
        return "time_up" if same else "up"
    return spec


def say(sentence: Message, language: str, display: Display, zone: ZoneInfo) -> str:
    """Put one sentence into words.

    Not for many of them: make one `Voice` and keep it.
    """
    return Voice(language=language, display=display, zone=zone).say(sentence)


def placeholders(template: str) -> frozenset[tuple[str, str]]:
    """Names and specs a template asks for; what two languages must agree on.

    Counting words differ between languages, so a spec of them counts as one kind.

    Examples
    --------
    >>> sorted(placeholders("{room}: {kits:one=kit|other=kits}"))
    [('kits', 'count'), ('room', '')]
    """
    found = (
        (name, "count" if "=" in (spec or "") else spec or "")
        for _, name, spec, _ in Formatter().parse(template)
        if name is not None
    )
    return frozenset(found)
