"""Pictures of the validation."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np

from experiments.weather_validation.methods import METHODS
from experiments.weather_validation.rows import Record
from experiments.weather_validation.season_statistics import bloom_day, last_frost_day, monthly_sd, post_bloom_minimum

COLOURS: Final = {
    "record": "#222222",
    "whole_years": "#1b6ca8",
    "parametric": "#c65d07",
    "control_gaussian_red_noise": "#8a8a8a",
    "control_ten_day_blocks": "#b9a44c",
    "control_nearest_neighbours": "#7d9b76",
}
LABELS: Final = {
    "record": "record",
    "whole_years": "whole years (default)",
    "parametric": "parametric (second opinion)",
    "control_gaussian_red_noise": "control: Gaussian red noise",
    "control_ten_day_blocks": "control: 10-day blocks",
    "control_nearest_neighbours": "control: nearest neighbours",
}


def draw(out: Path, record: Record, values: dict[str, Any]) -> None:
    """Write the pictures into a folder."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    made = {
        name: METHODS[name](record.low, record.high, 5, 1000)
        for name in ("whole_years", "parametric", "control_gaussian_red_noise")
    }
    figure, axes = plt.subplots(1, 2, figsize=(11, 4.2), layout="constrained", sharey=True)
    months = "JFMAMJJASOND"
    for place, (axis, word) in enumerate(zip(axes, ("minimum", "maximum"), strict=True)):
        rows = slice(12 * place, 12 * place + 12)
        axis.plot(monthly_sd(record.low, record.high)[rows], color=COLOURS["record"], lw=2.5, label=LABELS["record"])
        for name, part in made.items():
            axis.plot(monthly_sd(*part)[rows], color=COLOURS[name], label=LABELS[name])
        axis.set(title=f"mean {word} temperature", xticks=range(12), xticklabels=list(months), ylim=(0, None))
    axes[0].set_ylabel("spread between years of a month's mean, K")
    axes[0].legend(frameon=False)
    figure.suptitle("Year-to-year spread, fitted to the whole record (a coding check)")
    figure.savefig(out / "monthly_spread.png", dpi=120)
    plt.close(figure)

    figure, axes = plt.subplots(1, 3, figsize=(14, 4.2), layout="constrained")
    for axis, (title, function) in zip(
        axes,
        (
            ("last day with -2.2 °C or less", lambda low, high: last_frost_day(low)),
            ("lowest minimum in the 4 weeks from bloom, °C", post_bloom_minimum),
            ("bloom stand-in", bloom_day),
        ),
        strict=True,
    ):
        for name, part in {"record": (record.low, record.high), **made}.items():
            ordered = np.sort(function(*part))
            share = (np.arange(ordered.size) + 0.5) / ordered.size
            axis.plot(ordered, share, color=COLOURS[name], lw=2.5 if name == "record" else 1.3, label=LABELS[name])
        axis.set(xlabel=f"{title}" + ("" if "°C," in title or title.endswith("°C") else ", day of year"), ylim=(0, 1))
    axes[0].set_xlim(30, 125)
    axes[0].set_ylabel("share of years")
    axes[0].legend(frameon=False, loc="upper left")
    figure.suptitle("Spring frost and bloom, fitted to the whole record (a coding check)")
    figure.savefig(out / "frost_and_bloom.png", dpi=120)
    plt.close(figure)

    shown = (
        ("monthly_sd_ratio", "spread of monthly means, ratio", 1.0),
        ("may_september_heat_sd_ratio", "spread of May-Sep heat, ratio", 1.0),
        ("post_bloom_below_0_bias", "P(frost after bloom), bias", 0.0),
        ("last_frost_error_days", "last frost, error of quantiles, days", None),
        ("bloom_frost_energy_distance", "bloom and frost, energy distance", None),
    )
    figure, axes = plt.subplots(1, len(shown), figsize=(17, 4.2), layout="constrained", sharey=True)
    names = list(METHODS)
    for axis, (statistic, title, ideal) in zip(axes, shown, strict=True):
        for row, name in enumerate(names):
            found = np.array(values[name][statistic])
            axis.scatter(found, np.full(found.size, row) + np.linspace(-0.2, 0.2, found.size), s=7,
                         color=COLOURS[name], alpha=0.5)  # fmt: skip
            axis.plot([found.mean()] * 2, [row - 0.35, row + 0.35], color=COLOURS[name], lw=3)
        if ideal is not None:
            axis.axvline(ideal, color="#222222", lw=0.8, ls=":")
        axis.set_title(title, fontsize=10)
    axes[0].set_yticks(range(len(names)), [LABELS[name] for name in names])
    axes[0].invert_yaxis()
    figure.suptitle("Fitted on one half of the years, compared with the other: every half-split and direction")
    figure.savefig(out / "half_splits.png", dpi=120)
    plt.close(figure)
