"""What a run says of weather that was not measured: drawn, estimated, or done without."""

from __future__ import annotations

from typing import Final

from orchardsim.core.handover import SeasonWeather

RESTS_ON_RAIN: Final = (
    "wetting for fire blight, rain on the bees' flight, soil water, irrigation and days fit for work rest on drawn "
    "rain, not on measured rain"
)
GENERATED_RAIN: Final = (
    "rain is drawn from the plan's monthly normals, wetter on days with a small temperature range. Long droughts and "
    f"wet spells come out a tenth to a fifth too short; {RESTS_ON_RAIN}"
)
NO_RAIN: Final = (
    "no rain in the record and no rain normals in the plan: rain is taken as none. So water balance, irrigation depth, "
    "blight days, bee weather, wet soil and days fit for work cannot be judged"
)
UNKNOWN: Final = {
    "wind_speed": "no wind: bees are taken to fly as on calm days",
    "relative_humidity": "no humidity: dew does not count as wetting for fire blight",
}
"""What is done without wind or humidity."""


def missing_notes(seasons: SeasonWeather) -> list[str]:
    """One line on each of wind and humidity that the seasons lack, and on the evapotranspiration that follows."""
    missing = [name for name in UNKNOWN if getattr(seasons, name) is None]
    if not missing:
        return []
    if not seasons.estimate_missing:
        return [UNKNOWN[name] for name in missing] + [
            "reference evapotranspiration is estimated from temperature alone (Hargreaves)"
        ]
    estimates = {
        "wind_speed": "wind is not measured but estimated as 2 m/s on every day (FAO-56's world mean)",
        "relative_humidity": "humidity is not measured but estimated: dew point "
        f"{seasons.dew_point_offset:g} K below the day's minimum (FAO-56's rule)",
    }
    return [estimates[name] for name in missing] + [
        "bee weather, dew as wetting for fire blight and reference evapotranspiration (Penman-Monteith) rest on these "
        "estimates"
    ]
