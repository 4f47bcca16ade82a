"""``orchardsim check`` and ``orchardsim catalogue`` as a user meets them."""

from __future__ import annotations

import pytest

from orchardsim.cli.main import main
from orchardsim.economy.blocks import establishment_schedule
from orchardsim.plan import load_plan
from orchardsim.plan.describe import assumption_lines, schedule

from .examples import CONFIGS, DEMO


def test_check_says_what_is_planted_ordered_built_and_paid(capsys):
    assert main(["check", str(DEMO)]) == 0
    text = capsys.readouterr().out
    plan = load_plan(DEMO)
    for words in ("planted (net)", "headlands (gross)", "order ", "plant ", "build the support", "year 0", "875.0 lb"):
        assert words in text
    for label in plan.labels:
        assert label in text
    for each in plan.assumptions:
        assert each.key in text
    # 12 rows of 84 at 1.0 x 3.5 m: 3,528 m2 planted, 42 m x 98 m with headlands; an acre is 4,046.8564224 m2.
    assert f"{3528 / 4046.8564224:.3f} ac planted" in text and f"{42 * 98 / 4046.8564224:.3f} ac with" in text
    assert "1,156.2 trees/ac" in text  # 4,046.856 / 3.5


def test_the_paid_years_add_up(capsys):
    main(["check", str(DEMO), "--short"])
    text = capsys.readouterr().out
    plan = load_plan(DEMO)
    total = sum(outlay.amount for outlay in establishment_schedule(plan.money, plan.costs, plan.finance, 6))
    assert total == pytest.approx(sum(outlay.amount for outlay in schedule(plan)))
    row = next(line for line in text.splitlines() if line.strip().startswith("total"))
    years = [float(cell.replace(",", "")) for cell in row.split()[1:]]
    assert years[-1] == pytest.approx(total, abs=0.5) and sum(years[:-1]) == pytest.approx(total, abs=len(years))
    # Nursery trees are the largest single item of the first outlay (common practice, no source).
    items = [outlay.item for outlay in schedule(plan)]
    sums = {item: sum(outlay.amount for outlay in schedule(plan) if outlay.item == item) for item in items}
    assert max(sums, key=sums.__getitem__) == "trees"


def test_an_old_block_costs_nothing_to_establish(capsys):
    assert main(["check", str(CONFIGS / "old_block.toml"), "--short"]) == 0
    text = capsys.readouterr().out
    assert "stand in leaf 25" in text and "nothing: no block is planted" in text


def test_assumptions_are_grouped_worst_known_first():
    lines = assumption_lines(load_plan(DEMO).assumptions)
    heads = [line.strip() for line in lines if line.startswith("  ") and not line.startswith("    ")]
    assert heads[0] == "assumption" and heads[-1] == "read"


def test_catalogue_lists_and_shows(capsys):
    assert main(["catalogue"]) == 0
    assert "MM.111" in capsys.readouterr().out
    assert main(["catalogue", "honeycrisp"]) == 0
    page = capsys.readouterr().out
    assert "fruit_mass_potential = 0.3 kg [read]" in page and "Robinson" in page


def test_catalogue_offers_the_nearest_name(capsys):
    assert main(["catalogue", "Honycrisp"]) == 2
    assert "did you mean 'Honeycrisp'" in capsys.readouterr().err
