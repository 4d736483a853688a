import subprocess
import sys
from pathlib import Path

SCRIPT = """
import sys
import cureplan.weather.obtain, cureplan.weather.seasons, cureplan.weather.hours.csv_file
heavy = {"pandas", "meteostat", "scipy", "lxml", "requests", "platformdirs"}
print(sorted(heavy & set(sys.modules)))
"""


def test_weather_modules_load_without_heavy_libraries():
    run = subprocess.run(
        [sys.executable, "-c", SCRIPT],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.strip() == "[]"
