"""What a server answers, heard, bounded and judged at both sides of each limit."""

from __future__ import annotations

import email.utils
import gzip
import io
import json
import zipfile
from datetime import UTC, datetime
from itertools import count
from types import SimpleNamespace as Made

import pytest

from cureplan.weather.providers import exchange
from cureplan.weather.providers.exchange import Answer, Exchange, RecordingHandler


@pytest.mark.parametrize(
    ("given", "said", "code"),
    [
        ({"status": None}, "no complete answer", "net.silent"),
        ({"status": 429, "trouble": "wait", "wait_s": 9.0}, "HTTP 429, asks to be left alone",
         "net.wait"),
        ({"status": 200, "trouble": "page"}, "answered with a web page", "net.page"),
        ({"status": 200, "trouble": "large"}, "the answer is too large", "net.large"),
        ({"status": 200, "trouble": "cut"}, "the answer came in part only", "net.cut"),
        ({"status": 404}, "HTTP 404", "net.status"),
        ({"status": 200}, "the answer could not be used", "net.unusable"),
    ],
)  # fmt: skip
def test_what_was_wrong_with_an_answer(given, said, code):
    for url, host in (("https://x.org/a?b", "x.org"), ("no address", "no address")):
        answer = Answer(url=url, **given)
        assert answer.summary().startswith(f"{host}: {said}")
        assert (answer.remark().code, answer.remark().values["host"]) == (code, host)


@pytest.fixture
def at_noon(monkeypatch):
    monkeypatch.setattr(exchange, "time", Made(time=lambda: 1_000_000.0))
    return 1_000_000.0


def dated(seconds: float) -> str:
    return email.utils.format_datetime(datetime.fromtimestamp(seconds, UTC), usegmt=True)


def test_answers_stand_in_the_order_asked(tmp_path):
    here = Exchange(tmp_path)
    assert here.last() is None
    made = [here.asks(f"https://x.org/{n}") for n in range(3)]
    assert here.last() is made[2]
    assert here.since(1) == made[1:]
    assert here.mark() == 3


@pytest.mark.parametrize(
    ("status", "headers", "trouble", "wait_s"),
    [
        (200, {}, "", 0.0),
        (200, {"Content-Type": "TEXT/HTML; charset=utf-8"}, "page", 0.0),
        (200, {"Content-Type": "text/csv"}, "", 0.0),
        (429, {"Retry-After": "30"}, "wait", 30.0),
        (503, {"Retry-After": "99999999"}, "wait", 86_400.0),
        (503, {"Retry-After": "0"}, "", 0.0),
        (200, {"Retry-After": "30"}, "", 0.0),
        (429, {}, "", 0.0),
        (429, {"Retry-After": dated(1_000_060.0)}, "wait", 60.0),
        (429, {"Retry-After": dated(999_940.0)}, "", 0.0),
        (429, {"Retry-After": "soon"}, "", 0.0),
    ],
)
def test_a_server_says_how_long_it_wants_to_be_left_alone(
    tmp_path, at_noon, status, headers, trouble, wait_s
):
    here = Exchange(tmp_path)
    answer = here.asks("https://x.org/a")
    here.hears(answer, status, headers)
    assert (answer.status, answer.trouble, answer.wait_s) == (status, trouble, wait_s)
    assert here._held_until("https://x.org/b") == (at_noon + wait_s if wait_s else 0.0)
    assert here._held_until("https://y.org/b") == 0.0


@pytest.mark.parametrize(("left_s", "waits"), [(10.0, True), (0.0, False), (-10.0, False)])
def test_a_server_that_asked_to_wait_is_left_alone_until_then(tmp_path, at_noon, left_s, waits):
    (tmp_path / "holds.json").write_text(json.dumps({"x.org": at_noon + left_s}), "utf-8")
    here = Exchange(tmp_path)
    if not waits:
        assert here.asks("https://x.org/a").status is None
        return
    with pytest.raises(OSError, match="asked to wait"):
        here.asks("https://x.org/a")
    assert (here.last().status, here.last().trouble, here.last().wait_s) == (
        429,
        "wait",
        left_s,
    )
    assert here.asks("https://y.org/a").trouble == ""


def test_a_clock_is_off_by_what_the_servers_says(tmp_path, at_noon):
    here = Exchange(tmp_path)
    here.hears(here.asks("https://x.org/a"), 200, {"Date": dated(at_noon - 120.0)})
    assert here.clock_off_s == 120.0
    here.hears(here.asks("https://x.org/a"), 200, {"Last-Modified": dated(5.0)})
    assert here.clock_off_s == 120.0
    assert here.last().modified == datetime.fromtimestamp(5.0, UTC)


@pytest.mark.parametrize(
    ("parts", "whole"), [((4, 4), True), ((5, 5), True), ((5, 6), False), ((11,), False)]
)
def test_a_body_is_read_up_to_a_bearable_size(monkeypatch, parts, whole):
    monkeypatch.setattr(exchange, "LARGEST_BODY_BYTES", 10)
    closed = []
    response = Made(
        iter_content=lambda _: [b"x" * size for size in parts], status_code=200,
        close=lambda: closed.append(1),
    )  # fmt: skip
    answer = Answer(url="u")
    if whole:
        assert exchange._bounded(response, answer) == b"x" * sum(parts)
        return
    with pytest.raises(OSError, match="too large"):
        exchange._bounded(response, answer)
    assert (answer.status, answer.trouble, closed) == (200, "large", [1])


@pytest.mark.parametrize(
    ("status", "body", "trouble"),
    [
        (200, b"  <!DOCTYPE html><p>", "page"), (200, b"<HTML>", "page"), (200, b"a,b", ""),
        (404, b"<html>", ""), (404, b"a,b", ""), (200, b"<!doctype htm", ""),
    ],
)  # fmt: skip
def test_a_page_in_place_of_data_is_seen(status, body, trouble):
    answer = Answer(url="u", status=status, body=body)
    exchange._judge(answer)
    assert answer.trouble == trouble


def zipped(size: int) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("a", b"x" * size)
    return made.getvalue()


@pytest.mark.parametrize(
    ("body", "large"),
    [(zipped(300), False), (zipped(301), True), (b"PK broken", False), (b"x" * 301, False)],
)
def test_an_archive_unpacks_to_a_bearable_size(monkeypatch, body, large):
    monkeypatch.setattr(exchange, "LARGEST_BODY_BYTES", 300)
    answer = Answer(url="u", status=200, body=body)
    if not large:
        exchange._judge(answer)
        assert answer.trouble == ""
        return
    with pytest.raises(OSError, match="too large"):
        exchange._judge(answer)
    assert answer.trouble == "large"


def test_an_archive_is_looked_into_only_where_it_is_one(monkeypatch):
    monkeypatch.setattr(exchange, "LARGEST_BODY_BYTES", 300)
    # An archive behind other bytes is read by a tolerant reader; it is none of the client's.
    exchange._judge(Answer(url="u", status=200, body=b"x" + zipped(301)))


@pytest.mark.parametrize(
    ("body", "state"),
    [
        (gzip.compress(b"x" * 300), "whole"), (gzip.compress(b"x" * 301), "large"),
        (gzip.compress(b"x" * 150) * 2, "whole"), (gzip.compress(b"x" * 151) * 2, "large"),
        (gzip.compress(b"x" * 300)[:-9], "cut"), (b"x" * 900, "whole"),
        (gzip.compress(b"x" * 200) + gzip.compress(b"x" * 90)[:-9], "cut"),
        (b"\x1f\x8b broken", "whole"),
    ],
    ids=count(),
)  # fmt: skip
def test_a_packed_file_is_whole_and_of_a_bearable_size(monkeypatch, body, state):
    monkeypatch.setattr(exchange, "LARGEST_BODY_BYTES", 300)
    assert exchange._gzip_state(body) == state


def opened(tmp_path, body: bytes, *, url="https://x.org/a.csv", status=200, **headers):
    """A body as it comes through the handler, and what is noted of its answer."""
    here = Exchange(tmp_path)
    handler = RecordingHandler(here)
    here.asks("https://x.org/before")
    here.asks("https://x.org/earlier")
    request = Made(full_url=url)
    handler.http_request(request)
    sizes = []

    def given(size):
        sizes.append(size)
        return body[:size]

    response = Made(status=status, headers=headers, read=given, url=url, msg="OK")
    try:
        found = handler.http_response(request, response)
    except OSError as error:
        return str(error), here.last(), sizes
    return (found.read() if found is not response else "as it was"), here.last(), sizes


PACKED = gzip.compress(b"x" * 20)


@pytest.mark.parametrize(
    ("body", "given", "found", "trouble"),
    [
        (b"a,b", {}, b"a,b", ""),
        (b"a,b", {"status": 404}, "as it was", ""),
        (b"a" * 60, {}, b"a" * 60, ""),
        (b"a" * 61, {}, "too large", "large"),
        (b"a,b", {"Content-Length": "3"}, b"a,b", ""),
        (b"a,b", {"Content-Length": "4"}, "cut short", "cut"),
        (b"a,b", {"Content-Length": "2"}, b"a,b", ""),
        (b"a,b", {"Content-Length": "many"}, b"a,b", ""),
        (PACKED, {"url": "https://x.org/a.csv.gz"}, PACKED, ""),
        (PACKED[:-9], {"url": "https://x.org/a.csv.gz"}, "cut short", "cut"),
        (PACKED[:-9], {}, PACKED[:-9], ""),
        (gzip.compress(b"x" * 61), {"url": "https://x.org/a.csv.gz"}, "too large", "large"),
        (b"a,b", {"url": "https://x.org/a.csv.gz"}, b"a,b", ""),
        (b"<html>", {}, b"<html>", "page"),
    ],
)
def test_a_body_is_handed_on_where_it_is_whole_and_bearable(
    monkeypatch, tmp_path, body, given, found, trouble
):
    monkeypatch.setattr(exchange, "LARGEST_BODY_BYTES", 60)
    got, answer, sizes = opened(tmp_path, body, **given)
    assert (got, answer.trouble) == (found, trouble)
    assert answer.url == given.get("url", "https://x.org/a.csv")
    # One more than is borne is read, to tell what is too large.
    assert sizes == ([] if given.get("status") == 404 else [61])
