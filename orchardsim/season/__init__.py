"""What a season's weather does to the trees: chill, bloom, frost, pollination, light, water, disease, harvest."""

from orchardsim.season.drivers import season_drivers, season_drivers_for

__all__ = ["season_drivers", "season_drivers_for"]
