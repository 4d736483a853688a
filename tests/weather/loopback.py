"""An open-data server on 127.0.0.1 that the real client talks to, well or badly behaved."""

import gzip
import io
import json
import sqlite3
import threading
import time
import zipfile
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

KML = "http://www.opengis.net/kml/2.2"
DWD = "https://opendata.dwd.de/weather/lib/pointforecast_dwd_extension_V1_0.xsd"
MOSMIX_ELEMENTS = ("PPPP", "TTT", "Td", "DD", "FF", "FX1", "ww", "RR1c", "SunD1", "N", "VV")


class Loopback:
    """Serves what `routes` holds: a path prefix → function of (handler, path)."""

    def __init__(self):
        self.routes = {}
        self.asked = []
        # How long a client in these tests waits; short once something will not answer.
        self.patience_s = 5.0
        self.closing = threading.Event()
        # Whether a client outwaited a provider that stays silent: it must give up first.
        self.outwaited = False
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                outer.asked.append(self.path)
                answer = max(
                    (p for p in outer.routes if self.path.startswith(p)), key=len, default=None
                )
                if answer is None:
                    status(404)(self, self.path)
                else:
                    outer.routes[answer](self, self.path)

            def log_message(self, *args):
                pass

        class Server(ThreadingHTTPServer):
            daemon_threads = True

            def handle_error(self, request, client_address):
                pass  # clients that hang up are what these tests are about

        self.server = Server(("127.0.0.1", 0), Handler)
        self.base = f"http://127.0.0.1:{self.server.server_port}"

    def count(self, prefix):
        return sum(path.startswith(prefix) for path in self.asked)


@contextmanager
def serving():
    loop = Loopback()
    thread = threading.Thread(target=loop.server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield loop
    finally:
        loop.closing.set()
        loop.server.shutdown()
        loop.server.server_close()
        thread.join()


# Ways to answer


def body(raw, *, modified=None, short_by=0):
    def answer(handler, path):
        content = raw(path) if callable(raw) else raw
        if content is None:
            status(404)(handler, path)
            return
        handler.send_response(200)
        handler.send_header("Content-Length", str(len(content)))
        if modified is not None:
            stamp = modified.astimezone(UTC).strftime("%a, %d %b %Y %H:%M:%S GMT")
            handler.send_header("Last-Modified", stamp)
        handler.end_headers()
        handler.wfile.write(content[: len(content) - short_by])

    return answer


def status(code, **headers):
    def answer(handler, path):
        handler.send_response(code)
        for name, value in headers.items():
            handler.send_header(name, value)
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    return answer


def silent(loop):
    loop.patience_s = 0.4

    def answer(handler, path):
        if not loop.closing.wait(30):
            loop.outwaited = True

    return answer


def drip(loop, raw, *, every_s=0.05):
    """One byte at a time: each arrives in time, the whole never does."""

    def answer(handler, path):
        content = raw(path) if callable(raw) else raw
        handler.send_response(200)
        handler.send_header("Content-Length", str(len(content)))
        handler.end_headers()
        for n in range(len(content)):
            if loop.closing.wait(every_s):
                return
            handler.wfile.write(content[n : n + 1])
            handler.wfile.flush()

    return answer


# What the open-data services send


def stations_db(path, stations, *, alive=None):
    """Stations as id → (name, latitude, longitude, elevation, mosmix identifier)."""
    path.unlink(missing_ok=True)
    db = sqlite3.connect(path)
    db.execute(
        "CREATE TABLE stations(id, country, region, latitude, longitude, elevation, timezone)"
    )
    db.execute("CREATE TABLE names(station, language, name)")
    db.execute("CREATE TABLE identifiers(station, key, value)")
    db.execute(
        'CREATE TABLE inventory(station, provider, parameter, "start", "end", completeness)'
    )
    for key, (name, latitude, longitude, elevation, mosmix) in stations.items():
        db.execute(
            "INSERT INTO stations VALUES (?,?,?,?,?,?,?)",
            (key, "US", "NY", latitude, longitude, elevation, "America/New_York"),
        )
        db.execute("INSERT INTO names VALUES (?,?,?)", (key, "en", name))
        if mosmix:
            db.execute("INSERT INTO identifiers VALUES (?,?,?)", (key, "mosmix", mosmix))
        ends = (alive or {}).get(key)
        if ends:
            db.execute(
                "INSERT INTO inventory VALUES (?,?,?,?,?,?)",
                (key, "hourly", "temp", "1990-01-01", ends, 100),
            )
    db.commit()
    db.close()
    return path.read_bytes()


def hourly_csv(rows, *, year):
    """One UTC year of station rows: (instant, temp_c, rhum_pct, source)."""
    lines = ["year,month,day,hour,temp,temp_source,rhum,rhum_source"]
    for when, temp_c, rhum, source in rows:
        if when.year == year:
            rhum_cells = "," if rhum is None else f"{rhum},{source}"
            lines.append(
                f"{when.year},{when.month},{when.day},{when.hour},{temp_c},{source},{rhum_cells}"
            )
    return None if len(lines) == 1 else gzip.compress(("\n".join(lines) + "\n").encode())


def hourly_files(by_station):
    """Answer to /hourly/{year}/{station}.csv.gz for rows by station."""

    def content(path):
        _, _, year, name = path.split("/")
        rows = by_station.get(name.removesuffix(".csv.gz"))
        return None if rows is None else hourly_csv(rows, year=int(year))

    return content


def mosmix_kmz(times, temp_c, dew_c, *, issued, issue_text=None):
    def stamp(when):
        return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")

    steps = "".join(f"<dwd:TimeStep>{stamp(when)}</dwd:TimeStep>" for when in times)
    values = {name: ["0.00"] * len(times) for name in MOSMIX_ELEMENTS}
    values["TTT"] = ["-" if t is None else f"{t + 273.15:.2f}" for t in temp_c]
    values["Td"] = ["-" if t is None else f"{t + 273.15:.2f}" for t in dew_c]
    forecasts = "".join(
        f'<dwd:Forecast dwd:elementName="{name}"><dwd:value>{" ".join(cells)}</dwd:value>'
        "</dwd:Forecast>"
        for name, cells in values.items()
    )
    text = (
        f'<?xml version="1.0" encoding="UTF-8"?><kml:kml xmlns:dwd="{DWD}" xmlns:kml="{KML}">'
        "<kml:Document><kml:ExtendedData><dwd:ProductDefinition>"
        f"<dwd:IssueTime>{issue_text or stamp(issued)}</dwd:IssueTime>"
        f"<dwd:ForecastTimeSteps>{steps}</dwd:ForecastTimeSteps>"
        "</dwd:ProductDefinition></kml:ExtendedData>"
        f"<kml:Placemark><kml:ExtendedData>{forecasts}</kml:ExtendedData></kml:Placemark>"
        "</kml:Document></kml:kml>"
    )
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as kmz:
        kmz.writestr("MOSMIX.kml", text)
    return packed.getvalue()


def metno_json(times, temp_c, rhum, *, updated):
    series = [
        {
            "time": when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "data": {
                "instant": {
                    "details": {
                        "air_temperature": temp,
                        "relative_humidity": humid,
                        "cloud_area_fraction": 50.0,
                    }
                }
            },
        }
        for when, temp, humid in zip(times, temp_c, rhum, strict=True)
    ]
    meta = {} if updated is None else {"updated_at": updated.strftime("%Y-%m-%dT%H:%M:%SZ")}
    return json.dumps({"properties": {"meta": meta, "timeseries": series}}).encode()


def hours_from(first, count, *, step_h=1):
    first = first.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    return [first + timedelta(hours=step_h * n) for n in range(count)]


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


def wait_until(condition, *, looks=6000):
    for _ in range(looks):
        if condition():
            return
        time.sleep(0.01)
    raise AssertionError("waited in vain")
