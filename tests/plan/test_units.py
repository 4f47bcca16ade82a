"""Written quantities against the exact definitions of their units."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.core import units
from orchardsim.core.parameters import ParameterInfo
from orchardsim.plan.quantities import UnitContext, read_parameter

# The international foot and pound are exact since the agreement of 1959 (NIST Special Publication 811, 2008, appendix
# B.6: 1 ft = 0.3048 m, 1 lb = 0.453 592 37 kg); the acre is 43,560 square feet; degF by its definition.
EXACT = [
    ("12 ft", "m", 3.6576),
    ("3.5 m", "m", 3.5),
    ("12 in", "m", 0.3048),
    ("42 lb", "kg", 19.05087954),
    ("875 lb", "kg", 396.89332375),
    ("1 acre", "m2", 4046.8564224),
    ("2 ac", "m2", 8093.7128448),
    ("3 ha", "m2", 30_000.0),
    ("0.35 hectare", "m2", 3_500.0),
    ("250 m2", "m2", 250.0),
    ("1000 ft2", "m2", 92.90304),
    ("28 degF", "degC", -20 / 9),
    ("28 °F", "degC", -20 / 9),
    ("-5 °C", "degC", -5.0),
    ("273.15 K", "degC", 0.0),
    ("2 degF", "K", 10 / 9),
    ("-2 °F", "K", -10 / 9),
    ("2 degC", "K", 2.0),
    ("1.5 K", "K", 1.5),
    ("180 degF day", "K day", 100.0),
    ("6 fruit/cm2", "cm-2", 6.0),
    ("6 /cm2", "cm-2", 6.0),
    ("60 %", "1", 0.6),
    ("5 %/year", "1/year", 0.05),
    ("1 bushel/acre", "kg/m2", 42 * 0.45359237 / 4046.8564224),
    ("40 t/ha", "kg/m2", 4.0),
    ("1 in", "mm", 25.4),
    ("30 deg", "degree", 30.0),
    ("90 second", "minute", 1.5),
    ("2 years", "year", 2.0),
    ("3 leaves", "leaf", 3.0),
]


@pytest.mark.parametrize(("text", "unit", "value"), EXACT)
def test_quantities_follow_the_definitions_of_their_units(text, unit, value):
    assert units.parse_quantity(text, unit) == pytest.approx(value, rel=1e-12, abs=1e-12)


def test_a_difference_is_never_read_as_an_absolute_temperature():
    assert units.parse_quantity("2 degC", "K") == 2.0
    assert units.parse_quantity("2 degC", "degC") == 2.0
    assert units.parse_quantity("2 degF", "degC") == pytest.approx(-50 / 3)


def test_money_stands_for_the_plans_currency():
    assert units.parse_quantity("8 USD/tree", "money/tree", currency="USD") == 8.0
    assert units.parse_quantity("500 EUR/ha", "money/m2", currency="EUR") == pytest.approx(0.05)
    with pytest.raises(ValueError, match="EUR"):
        units.parse_quantity("8 USD/tree", "money/tree", currency="EUR")


def test_bins_and_boxes_count_by_their_mass():
    masses = {"bin": 400.0, "box": 20.0}
    assert units.parse_quantity("200 USD/bin", "money/kg", currency="USD", masses=masses) == pytest.approx(0.5)
    assert units.parse_quantity("30 USD/box", "money/kg", currency="USD", masses=masses) == pytest.approx(1.5)
    assert units.parse_quantity("30 USD/bin", "money/bin", currency="USD", masses=masses) == 30.0


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("12", "m"),
        ("12 kg", "m"),
        ("twelve ft", "m"),
        ("", "m"),
        ("ft", "m"),
        ("nan m", "m"),
        ("inf m", "m"),
        ("1e999 m", "m"),
        ("1,200 ft", "m"),
        ("5 foo", "m"),
        ("3 m", "degC"),
        ("3 m", "K"),
        ("5 C", "degC"),
        ("8 USD", "money/tree"),
        ("2 __import__('os')", "m"),
        ("4 m**999999", "m"),
        ("12 ft; drop", "m"),
    ],
)
def test_what_is_no_quantity_of_its_kind_is_refused(text, unit):
    with pytest.raises(ValueError, match="found"):
        units.parse_quantity(text, unit, currency="USD")


@given(st.floats(-1e6, 1e6), st.sampled_from(["ft", "lb", "acre", "degF", "bushel"]))
def test_display_undoes_reading(value, unit):
    shown = units.display("us")
    kinds = {"ft": (shown.length, "m"), "lb": (shown.mass, "kg"), "acre": (shown.area, "m2"), "bushel": (None, "kg")}
    if unit == "degF":
        inside = units.convert(value, "degF", "degC")
        assert shown.temperature(inside) == pytest.approx(value, abs=1e-8)
    elif unit == "bushel":
        assert units.convert(value, unit, "kg") == pytest.approx(value * units.BUSHEL, rel=1e-12, abs=1e-12)
    else:
        kind, inside_unit = kinds[unit]
        assert kind.of(units.convert(value, unit, inside_unit)) == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_crop_in_both_systems():
    # 1 bu/ac = 0.04708 t/ha: 19.0509 kg on 0.404686 ha (arithmetic on the definitions above).
    inside = units.convert(1.0, "bushel/acre", "kg/m2")
    assert units.display("us").crop.of(inside) == pytest.approx(1.0, rel=1e-12)
    assert units.display("metric").crop.of(inside) == pytest.approx(0.04708, abs=5e-6)


def test_bounds_are_told_in_the_unit_that_was_written():
    """0.2 to 30 m hold 0.657 to 98.4 ft, rounded inward (the foot is 0.3048 m); 20 to 30 degC are 68 to 86 degF."""
    length = ParameterInfo("m", "spacing", 0.2, 30)
    with pytest.raises(ValueError, match=r"found '0.1 ft', allowed 0.2 to 30 m \(0.657 to 98.4 ft\)"):
        read_parameter("0.1 ft", length, float, UnitContext())
    with pytest.raises(ValueError, match=r"allowed 0.2 to 30 m \(0.657 to 98.4 ft\)"):
        read_parameter({"value": 100.0, "unit": "ft"}, length, float, UnitContext())
    with pytest.raises(ValueError, match=r"allowed 0.2 to 30 m$"):
        read_parameter("0.1 m", length, float, UnitContext())
    with pytest.raises(ValueError, match=r"allowed 20 to 30 degC \(68 to 86 degF\)"):
        read_parameter("0 degF", ParameterInfo("degC", "heat", 20, 30), float, UnitContext())
    with pytest.raises(ValueError, match=r"found '-1 EUR/kg', allowed at least 0 EUR/kg$"):
        read_parameter("-1 EUR/kg", ParameterInfo("money/kg", "price", 0), float, UnitContext("EUR"))


def test_a_yearly_rate_may_be_written_in_percent_alone():
    rate = ParameterInfo("1/year", "rate", -0.9, 1)
    assert read_parameter("5 %", rate, float, UnitContext()) == pytest.approx(0.05)
    with pytest.raises(ValueError, match=r"found '-100 %', allowed -0.9 to 1 per year \(-90 to 100 %\)"):
        read_parameter("-100 %", rate, float, UnitContext())
