"""Sun on a floor: height of the sun, clear-sky light, cloud, and what the floor takes up."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.heat import checked

__all__ = [
    "absorbed_w_m2",
    "clear_sky_w_m2",
    "clouded_w_m2",
    "sun_elevation_deg",
]

# Haurwitz 1945 as pvlib has it; Reno, Hansen & Stein 2012 (SAND2012-2389) print
# 0.057 in the exponent, which gives 0.2 % more at noon and 2 % more at 5°.
_CLEAR_W_M2: Final = 1098.0
_CLEAR_EXPONENT: Final = 0.059
# Kasten & Czeplak 1980, Solar Energy 24, 177-189; seen quoted, paper not seen.
_CLOUD_SHARE: Final = 0.75
_CLOUD_POWER: Final = 3.4


def sun_elevation_deg(
    instants: Sequence[datetime], *, latitude_deg: float, longitude_deg: float, refracted: bool
) -> NDArray[np.float64]:
    """Height of the sun's centre above a level horizon.

    Good to about a minute of time between 1900 and 2100. Not within 0.2° of a pole.

    Source: NOAA solar calculator equations (Meeus), through astral.

    >>> from datetime import timezone
    >>> noon = datetime(2013, 7, 18, 17, 2, tzinfo=timezone.utc)
    >>> float(sun_elevation_deg([noon], latitude_deg=40.78, longitude_deg=-73.88,
    ...                         refracted=True).round(1)[0])
    70.1
    """
    from astral import Observer
    from astral.sun import elevation

    latitude = float(
        checked("latitude_deg", latitude_deg, unit="°", at_least=-89.8, at_most=89.8)
    )
    longitude = float(
        checked("longitude_deg", longitude_deg, unit="°", at_least=-180, at_most=180)
    )
    # A horizon seen from a roof would move sunrise, not the light on a floor.
    observer = Observer(latitude=latitude, longitude=longitude, elevation=0.0)
    heights = np.empty(len(instants))
    for number, instant in enumerate(instants):
        if instant.utcoffset() is None:
            raise OutOfRangeError(
                f"instants[{number}] = {instant.isoformat()} has no time zone; "
                "attach the site's, or UTC"
            )
        heights[number] = elevation(observer, instant, with_refraction=refracted)
    return heights


def clear_sky_w_m2(elevation_deg: ArrayLike) -> NDArray[np.float64]:
    """Sunlight on level ground under a clear sky.

    Within some 10 %; knows neither haze nor height above the sea. Not for walls.

    Source: Haurwitz 1945, J. Meteorology 2, 154-166.

    Shapes: elevation_deg S; gives S [W/m²].

    >>> clear_sky_w_m2([-5, 30, 90]).round().tolist()
    [0.0, 488.0, 1035.0]
    """
    height = checked("elevation_deg", elevation_deg, unit="°", at_least=-90, at_most=90)
    upright = np.sin(np.radians(height))
    # Lower than this the formula gives under 1e-250; dividing by less could overflow.
    up = upright > 1e-4
    safe = np.where(up, upright, 1.0)
    return np.where(up, _CLEAR_W_M2 * safe * np.exp(-_CLEAR_EXPONENT / safe), 0.0)


def clouded_w_m2(clear_w_m2: ArrayLike, *, cloud_share: ArrayLike) -> NDArray[np.float64]:
    """Sunlight left under a partly covered sky.

    Only where the weather carries cloud cover; without it the sky counts as clear,
    which makes a sunlit slab hotter, the careful side.

    Source: Kasten & Czeplak 1980, Solar Energy 24, 177-189: 1 - 0.75·N^3.4 (from memory, agrees
    with open codes that quote it).

    >>> clouded_w_m2(800.0, cloud_share=[0, 0.5, 1]).round().tolist()
    [800.0, 743.0, 200.0]
    """
    clear = checked("clear_w_m2", clear_w_m2, unit="W/m²", at_least=0)
    cloud = checked("cloud_share", cloud_share, unit="", at_least=0, at_most=1)
    return np.asarray(clear * (1.0 - _CLOUD_SHARE * cloud**_CLOUD_POWER))


def absorbed_w_m2(
    horizontal_w_m2: ArrayLike,
    *,
    lit_share: ArrayLike,
    transmitted_share: float,
    absorptance: float,
) -> NDArray[np.float64]:
    """Sun a declared patch of floor takes up.

    The patch is as lit as level ground outdoors, less what the opening keeps out:
    no window geometry is in it, so say when the patch is lit.

    Source: Plain product of the shares; invented.

    >>> absorbed_w_m2([0.0, 500.0], lit_share=1, transmitted_share=0.7,
    ...               absorptance=0.6).tolist()
    [0.0, 210.0]
    """
    light = checked("horizontal_w_m2", horizontal_w_m2, unit="W/m²", at_least=0)
    lit = checked("lit_share", lit_share, unit="", at_least=0, at_most=1)
    through = checked("transmitted_share", transmitted_share, unit="", at_least=0, at_most=1)
    kept = checked("absorptance", absorptance, unit="", at_least=0, at_most=1)
    return np.asarray(light * lit * through * kept)
