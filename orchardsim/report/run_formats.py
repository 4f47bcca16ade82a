"""How a run's numbers are shown: its own units, its bins and boxes with their mass, its money."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from orchardsim.core.numbers import number, percent
from orchardsim.core.units import HECTARE, Display, display
from orchardsim.core.variables import Variable
from orchardsim.results import attribute, block_labels, of_farm

if TYPE_CHECKING:
    import xarray

LEFT_OUT = (
    "Apple scab, codling moth, mites and nutrition are not simulated: they stand in the plan as a yearly cost and a "
    "share of culled fruit.",
    "Prices and costs are the plan's: drawn are the swing of prices from year to year and, unless the plan knows them, "
    "their levels and drifts.",
    "Family living costs, and taxes and changes of law or market that the plan does not name.",
)
"""What the model leaves out, said on every page."""


PAYBACK_AND_NPV = (
    "Payback counts the interest on what is owed, and nothing for what the blocks are worth at the end; beside "
    "standing blocks payback and IRR are the new planting's own, before tax and interest. NPV is the whole farm's: it "
    "counts what they are worth at the end and values later money less in place of interest. So a plan may never pay "
    "back and still have an NPV above zero."
)
"""Why payback and NPV can disagree, said wherever both stand in a table."""


@dataclass(frozen=True)
class RunFormats:
    """Formats numbers of a run.

    Attributes
    ----------
    system : {"us", "metric"}
    bin_mass, box_mass : float [kg]
    money_basis : str
        Price year and whether money is real or nominal, in words.
    """

    system: str
    currency: str
    bin_mass: float
    box_mass: float
    money_basis: str

    @classmethod
    def of(cls, attrs: Mapping[Any, Any]) -> RunFormats:
        """Formats of the units and money that a run's attributes tell."""
        kind = str(attrs["real_or_nominal"])
        year = attrs["price_year"]
        basis = {
            "real": f"money of {year}, inflation taken out",
            "nominal": f"money of each year, inflation included; prices start from {year}",
        }.get(kind, f"{kind}, price year {year}")
        tax = attrs.get("income_tax_rate")
        if tax is not None:
            basis += f"; after income tax of {100 * float(tax):.3g} %" if float(tax) > 0 else "; before income tax"
        return cls(
            str(attrs["display_units"]),
            str(attrs["currency"]),
            float(attrs["bin_mass"]),
            float(attrs["box_mass"]),
            basis,
        )

    @property
    def us(self) -> bool:
        """Whether results are shown in US units."""
        return self.system == "us"

    @property
    def area_name(self) -> str:
        """acre or hectare."""
        return self.display.area.unit

    @property
    def yield_unit(self) -> str:
        """Unit in which yields are shown."""
        return "bins/acre" if self.us else "t/ha"

    def yield_value(self, value: Any) -> Any:
        """Yield in kg/ha to the shown unit."""
        if self.us:
            return self.bins(value)
        return value / 1000.0

    def boxes(self, value: Any) -> Any:
        """Yield in kg/ha to boxes per shown area."""
        return value / HECTARE * self.area_size / self.box_mass

    def bins(self, value: Any) -> Any:
        """Yield in kg/ha to bins per shown area."""
        return value / HECTARE * self.area_size / self.bin_mass

    @property
    def area_size(self) -> float:
        """Square metres in the shown unit of area."""
        return self.display.area.size

    @property
    def display(self) -> Display:
        """The shown units of single quantities."""
        return display(self.system)

    def area(self, square_metres: float) -> str:
        """Area with its unit."""
        value = square_metres / self.area_size
        name = "acres" if self.us else "ha"
        return f"{value:.2f} {name}" if value < 10 else f"{value:,.1f} {name}"

    @property
    def price_unit(self) -> str:
        """Unit in which a price of fruit is shown."""
        return f"{self.currency}/box" if self.us else f"{self.currency}/kg"

    def price(self, amount: float) -> str:
        """Price of fruit, from money/kg, in :attr:`price_unit`."""
        return f"{amount * self.box_mass:,.2f}" if self.us else f"{amount:,.3f}"

    def mass(self, kilograms: float) -> str:
        """Mass with its unit, for bins and boxes."""
        return f"{self.display.mass.of(kilograms):.4g} {self.display.mass.unit}"

    @property
    def bin_text(self) -> str:
        """A bin with its mass."""
        return f"bin of {self.mass(self.bin_mass)}"

    @property
    def box_text(self) -> str:
        """A box with its mass."""
        return f"box of {self.mass(self.box_mass)}"

    @property
    def money_line(self) -> str:
        """What money, bins and boxes on a page mean."""
        return f"{self.currency}: {self.money_basis}; {self.bin_text}, {self.box_text}"

    def money(self, amount: float, digits: int = 3) -> str:
        """Money rounded to three figures, as an estimate should be."""
        rounded = round_figures(amount, digits)
        sign = "-" if rounded < 0 else ""
        return f"{sign}{self.currency} {abs(rounded):,.0f}"

    def value_text(self, row: Variable, value: float) -> str:
        """A value of the variable table as it is shown: money, price, share, year, mass or number, or its word.

        Examples
        --------
        >>> import math
        >>> from orchardsim.core.variables import RESULTS
        >>> formats = RunFormats("metric", "EUR", 400.0, 19.0, "")
        >>> formats.value_text(RESULTS["npv"], -12345.6), formats.value_text(RESULTS["irr"], -math.inf)
        ('-EUR 12,300', 'none')
        >>> formats.value_text(RESULTS["irr"], 0.0512), formats.value_text(RESULTS["payback_year"], 12.0)
        ('5.1 %', '12')
        """
        if math.isinf(value):
            return row.infinite_word
        kind = row.display
        if kind == "money":
            return self.money(value)
        if kind == "price":
            return self.price(value)
        if kind == "percent":
            return percent(value, 1)
        if kind == "mass":
            return self.display.mass.text(value, 0)
        return f"{value:.0f}" if kind == "year" else number(value, 0 if row.whole else 1)

    def error_text(self, row: Variable, value: float) -> str:
        """A standard error of a value of the variable table, to two figures; shares in points."""
        if row.display == "percent":
            return f"{number(100 * value, int(value < 0.1))} points"
        if row.display == "money":
            return self.money(value, 2)
        return number(value, int(value < 10)) if row.whole else self.value_text(row, value)


def round_figures(value: float, digits: int = 3) -> float:
    """Number rounded to so many significant figures.

    Examples
    --------
    >>> round_figures(176543.0), round_figures(-0.0)
    (177000.0, 0.0)
    """
    if value == 0 or not math.isfinite(value):
        return abs(value) if value == 0 else value
    return float(f"{value:.{digits}g}")


def amount_text(value: float, digits: int = 3) -> str:
    """An amount to so many figures, without its unit.

    Examples
    --------
    >>> amount_text(-12345.6), amount_text(-0.0)
    ('-12,300', '0')
    """
    return f"{round_figures(value, digits) + 0.0:,.0f}"


def in_shown_units(text: str, units: Display) -> str:
    """A line written in the units inside the program, with its lengths, depths and temperatures in the shown ones.

    Examples
    --------
    >>> us = display("us")
    >>> in_shown_units("rows are closer than 4.3 m; trend +0.40 ± 0.10 and +0.29 ± 0.13 K per decade", us)
    'rows are closer than 14.1 ft; trend +0.72 ± 0.18 and +0.52 ± 0.23 °F per decade'
    >>> in_shown_units("12 mm of rain at -2.0 degC", us), in_shown_units("4.3 m, 2 K", display("metric"))
    ('0.47 inch of rain at 28.4 °F', '4.3 m, 2 °C')
    """
    amount = r"([+-]?\d+(?:\.\d+)?)"

    def difference(found: re.Match[str]) -> str:
        def one(number: re.Match[str]) -> str:
            digits = len(number[1].partition(".")[2])
            sign = "+" if number[1].startswith("+") else ""
            return f"{units.temperature_difference(float(number[1])):{sign}.{digits}f}"

        return re.sub(amount, one, found[1]) + f" {units.temperature_unit}"

    text = re.sub(
        rf"{amount} (?:degC|°C)\b",
        lambda found: f"{units.temperature(float(found[1])):.1f} {units.temperature_unit}",
        text,
    )
    text = re.sub(rf"((?:{amount}(?: ± | and |, | to )?)+) K\b", difference, text)
    if units.system != "us":
        return text
    text = re.sub(rf"{amount} mm\b", lambda found: f"{units.depth.of(float(found[1])):.2g} {units.depth.unit}", text)
    return re.sub(
        rf"{amount} m\b", lambda found: f"{float(found[1]) / units.length.size:.1f} {units.length.unit}", text
    )


def years_text(years: Any) -> str:
    """Baseline years in words.

    Examples
    --------
    >>> years_text([1991, 2020]), years_text("1991-2020"), years_text([0, 0])
    ('1991 to 2020', '1991-2020', 'no record')
    """
    if isinstance(years, str):
        return years or "no record"
    values = [int(value) for value in years]
    return f"{values[0]} to {values[-1]}" if any(values) else "no record"


def footer(dataset: xarray.Dataset) -> str:
    """The line under every table and picture: how many trials, which seasons."""
    return (
        f"n = {dataset.sizes['trial']:,} futures, seed {dataset.attrs['seed']}; seasons: "
        f"{dataset.attrs['weather_words']}; baseline {years_text(attribute(dataset, 'baseline_years'))}"
    )


def frost_sentences(dataset: xarray.Dataset) -> list[str]:
    """What the baseline and the whole record give for frost years, one sentence each."""
    lines: dict[str, list[str]] = {}
    for row in attribute(dataset, "frost_years"):
        first, last = row["years"] or (None, None)
        years = "no record" if first is None else f"{first} to {last}"
        killed = [
            f"{count} {'of ' + str(row['springs']) + ' springs killed ' if place == 0 else ''}more than {share} %"
            f"{' of the flowers' if place == 0 else ''}"
            for place, (share, count) in enumerate(row["springs_that_killed_more_than_percent"].items())
        ]
        part = f"{row['block']}, {row['cultivar']}: {', '.join(killed)}"
        lines.setdefault(f"{row['period'].replace('_', ' ')} ({years})", []).append(part)
    return [f"{period}: {'; '.join(parts)}" for period, parts in lines.items()]


def farm_area(dataset: xarray.Dataset) -> float:
    """Land with headlands, and idle land [m2]; an older result, which does not hold it, sums its blocks."""
    return float(dataset.attrs.get("farm_area", of_farm(dataset, "gross_area")))


def areas_text(dataset: xarray.Dataset, formats: RunFormats) -> str:
    """Planted land by block, and the farm's with headlands."""
    names = block_labels(dataset)
    parts = [f"{name} {formats.area(float(dataset['planted_area'].sel(block=name)))}" for name in names]
    gross = formats.area(farm_area(dataset))
    if not names:
        return f"{gross} idle"
    if len(names) == 1:
        return f"{parts[0]} planted ({gross} with headlands)"
    planted = formats.area(float(of_farm(dataset, "planted_area")))
    return f"{'; '.join(parts)}; together {planted} planted ({gross} with headlands)"
