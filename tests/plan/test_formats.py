"""Numbers in the user's units, against conversions worked by hand from the exact definitions."""

from __future__ import annotations

import pytest

from orchardsim.plan.formats import PlanFormats

US = PlanFormats("us", "USD", 42.0, 19.05087954)
METRIC = PlanFormats("metric", "EUR", -38.0, 18.0)


@pytest.mark.parametrize(
    ("formats", "key", "value", "unit", "text"),
    [
        (US, "a", 1.0, "money/m2", "4,046.9 USD/acre"),  # 43,560 ft2 of 0.09290304 m2: 4,046.856 m2
        (METRIC, "a", 1.0, "money/m2", "10,000 EUR/ha"),
        (US, "a", 30.48, "m", "100 ft"),
        (METRIC, "a", 30.48, "m", "30.48 m"),
        (US, "a", 25.4, "mm", "1 inch"),
        (US, "a", (25.4, 50.8), "mm", "[1, 2] inch"),
        (US, "a", -40.0, "degC", "-40 °F"),  # where both scales meet
        (US, "a", -5.0, "K", "-9 °F (a difference)"),
        (METRIC, "a", -5.0, "K", "-5 °C (a difference)"),
        (US, "a", 100.0, "K day", "180 °F days"),
        (METRIC, "a", 2.0, "money/kg", "2 EUR/kg (36 EUR/box)"),
        (US, "a", 10.0, "money/m", "3.048 USD/ft"),
        (US, "a", 1.0, "USD/tree", "1 USD/tree"),
        (METRIC, "replacement.order_day", 0, "day", "1 Apr"),  # the biological year of the south starts then
        (US, "crews 1.days_per_week", 6.0, "day", "6 day"),
        (US, "a", float("inf"), "kg/year", "no limit lb/year"),
        (US, "a", True, "flag", "yes"),
        (US, "a", 0.5, "1/year", "0.5 per year"),
        (US, "a", 4.47, "1/m", "4.47 per m"),
        (US, "weather.method", "resample", "text", "resample (futures drawn from the record's own years)"),
    ],
)
def test_values_are_shown_in_the_users_units(formats, key, value, unit, text):
    assert formats.text(key, value, unit) == text
