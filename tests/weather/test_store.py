import os
import signal
import subprocess
import sys
import textwrap
from datetime import timedelta
from pathlib import Path

import pytest
from builders import assert_same_series, series_of
from loopback import utc, wait_until

from cureplan.core.errors import OutputError
from cureplan.core.messages import Message
from cureplan.weather.kept import WeatherStore, default_store_folder

NOW = utc(2013, 7, 17, 18)
OLD = (Message("weather.reused", {"age_s": 60.0}),)
ROOT = Path(__file__).parents[2]
PLACE = {
    "provider": "station",
    "latitude_deg": 40.78,
    "longitude_deg": -73.88,
    "elevation_m": 3.0,
}

# A writer for a process of its own; {extra} may change how it writes.
WRITER = """
import os, sys, time
from datetime import UTC, datetime, timedelta
from pathlib import Path
sys.path.insert(0, {tests!r})
from builders import series_of
from cureplan.weather.kept import WeatherStore
store = WeatherStore(folder=Path({folder!r}), **{place!r})
now = datetime(2013, 7, 17, 18, tzinfo=UTC)
{extra}
for n in range({count}):
    store.keep(series_of([float({mark} + n)] * 2000), fetched_at=now + timedelta(seconds=n % 5))
"""


def writer(folder, *, mark, count, extra=""):
    text = WRITER.format(
        tests=str(Path(__file__).parent),
        folder=str(folder),
        place=PLACE,
        mark=mark,
        count=count,
        extra=textwrap.dedent(extra),
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen([sys.executable, "-c", text], env=environment)


@pytest.fixture
def store(tmp_path):
    return WeatherStore(folder=tmp_path, **PLACE)


def test_copies_come_back_whole_and_newest_first(store):
    for hours in (0, 2, 1):
        series = series_of(
            [float(hours), 1 / 3],
            notes=(Message("weather.told", {"text": f"{hours} h"}),),
            warnings=OLD,
        )
        store.keep(series, fetched_at=NOW + timedelta(hours=hours))
    copies = list(store.copies())
    assert [copy.series.temp_c[0] for copy in copies] == [2.0, 1.0, 0.0]
    assert copies[0].fetched_at == NOW + timedelta(hours=2)
    assert_same_series(
        copies[2].series,
        series_of(
            [0.0, 1 / 3], notes=(Message("weather.told", {"text": "0 h"}),), warnings=OLD
        ),
    )


def test_places_and_doors_do_not_mix(store, tmp_path):
    store.keep(series_of([1.0]), fetched_at=NOW)
    for change in ({"latitude_deg": 40.79}, {"elevation_m": 30.0}, {"provider": "forecast"}):
        other = WeatherStore(folder=tmp_path, **{**PLACE, **change})
        assert list(other.copies()) == []


@pytest.mark.parametrize(
    "damage",
    [
        lambda raw: raw[:-20],
        lambda raw: raw.replace(b"20.25", b"21.25"),
        lambda _: b"",
        lambda raw: raw.split(b"\n", 1)[1],
        lambda raw: b"\xff\xfe" + raw,
    ],
    ids=["cut", "changed", "empty", "no-check-sum", "binary"],
)
def test_a_damaged_copy_is_passed_over(store, damage):
    store.keep(series_of([10.0]), fetched_at=NOW)
    store.keep(series_of([20.25]), fetched_at=NOW + timedelta(hours=1))
    newest = max(store.shelf.iterdir())
    newest.write_bytes(damage(newest.read_bytes()))
    assert [copy.series.temp_c[0] for copy in store.copies()] == [10.0]


def test_strange_files_are_left_alone(store):
    store.keep(series_of([10.0]), fetched_at=NOW)
    (store.shelf / "readme.txt").write_text("mine")
    (store.shelf / "20139917T180000Z.csv").write_text("no such month")
    (store.shelf / "20130717T190000Z.csv").mkdir()
    assert [copy.series.temp_c[0] for copy in store.copies()] == [10.0]
    assert (store.shelf / "readme.txt").exists()


def test_only_two_dozen_copies_are_kept(store):
    for n in range(27):
        store.keep(series_of([float(n)]), fetched_at=NOW + timedelta(hours=n))
    kept = [copy.series.temp_c[0] for copy in store.copies()]
    assert kept == [float(n) for n in range(26, 2, -1)]


@pytest.mark.thorough
def test_two_processes_writing_at_once_leave_only_whole_copies(store, tmp_path):
    writers = [writer(tmp_path, mark=mark, count=30) for mark in (0, 30)]
    seen = 0
    while any(one.poll() is None for one in writers):
        for copy in store.copies():
            seen += 1
            assert (copy.series.temp_c == copy.series.temp_c[0]).all()
            assert copy.series.temp_c.size == 2000
    assert [one.returncode for one in writers] == [0, 0]
    assert seen > 0
    # Five different seconds were written under, thirty times by each.
    files = list(store.shelf.iterdir())
    assert len(files) == len(list(store.copies())) == 5


@pytest.mark.parametrize("stuck_in", ["os.fsync", "Path.replace"])
def test_a_writer_killed_in_mid_write_harms_nothing(store, tmp_path, stuck_in):
    store.keep(series_of([10.0]), fetched_at=NOW - timedelta(hours=1))
    stuck = writer(
        tmp_path,
        mark=1,
        count=1,
        extra=f"""
        def stop(*args):
            Path({str(tmp_path)!r}, "in-the-middle").touch()
            time.sleep(60)
        {stuck_in} = stop
        """,
    )
    wait_until((tmp_path / "in-the-middle").exists)
    os.kill(stuck.pid, signal.SIGKILL)
    assert stuck.wait() == -signal.SIGKILL
    (part,) = store.shelf.glob(".cureplan-part-*")
    assert [copy.series.temp_c[0] for copy in store.copies()] == [10.0]
    # What a dead writer left goes with the next write.
    store.keep(series_of([11.0]), fetched_at=NOW)
    assert not part.exists()
    assert [copy.series.temp_c[0] for copy in store.copies()] == [11.0, 10.0]


def test_a_store_that_cannot_be_written_is_one_clear_error(tmp_path):
    (tmp_path / "file").write_text("not a folder")
    store = WeatherStore(folder=tmp_path / "file", **PLACE)
    with pytest.raises(OutputError, match="could not be made"):
        store.keep(series_of([1.0]), fetched_at=NOW)
    assert list(store.copies()) == []


def test_the_store_can_be_put_elsewhere(monkeypatch, tmp_path):
    monkeypatch.setenv("CUREPLAN_STORE", str(tmp_path))
    assert default_store_folder() == tmp_path
    monkeypatch.delenv("CUREPLAN_STORE")
    assert default_store_folder().name == "cureplan"
