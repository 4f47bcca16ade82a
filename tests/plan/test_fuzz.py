"""Whatever stands in a plan, the answer is a plan or one clear line."""

from __future__ import annotations

import contextlib
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from orchardsim.core.errors import LONGEST_LINE, InputError
from orchardsim.core.units import parse_quantity
from orchardsim.plan import load_plan
from orchardsim.plan.key_table import plan_keys

from .examples import DEMO, base

scalars: st.SearchStrategy[Any] = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**6), 10**6),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["3 m", "-3 m", "0.1 ha", "nan m", "5 USD/tree", "20 degC", "Gala", "M.9", "unlimited", "12 ft"]),
)
INNER_KEYS = ["name", "rows", "value", "unit", "like", "cultivar", "every_tree"]
values = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(INNER_KEYS), inner, max_size=3),
    ),
    max_leaves=5,
)
KEYS: dict[str, dict[str, None]] = {}
"""Table at the top of a plan, "" for the plan itself -> keys and tables in it."""
for key in plan_keys():
    top, _, below = key.table.partition(".")
    KEYS.setdefault(top, {})[below.partition(".")[0] or key.name] = None


@settings(max_examples=50, deadline=None)
@given(st.data())
def test_any_value_at_any_key_is_read_or_refused_in_one_line(data):
    _read_or_refuse(data)


@pytest.mark.slow
@settings(max_examples=2_500, deadline=None)
@given(st.data())
def test_thousands_of_values_are_read_or_refused_in_one_line(data):
    _read_or_refuse(data)


@pytest.mark.slow
@settings(max_examples=1_000, deadline=None)
@given(st.text(max_size=60), st.sampled_from(["m", "money/tree", "1", "degC", "K day"]))
def test_any_text_is_a_quantity_or_none(text, unit):
    with contextlib.suppress(ValueError):
        assert math.isfinite(parse_quantity(text, unit, currency="USD"))


@pytest.mark.slow
@settings(max_examples=1_000, deadline=None)
@given(st.data())
def test_a_plan_file_with_any_part_changed_is_read_or_refused(tmp_path_factory, data):
    content = bytearray(DEMO.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(content) - 1))
        content[place : place + data.draw(st.integers(0, 6))] = data.draw(st.binary(max_size=6))
    path = tmp_path_factory.getbasetemp() / "fuzzed.toml"
    path.write_bytes(content)
    try:
        load_plan(path)
    except InputError as error:
        assert len(str(error)) <= LONGEST_LINE and str(error).isprintable()


def _read_or_refuse(data):
    plan = base()
    for _ in range(data.draw(st.integers(1, 2))):
        table = data.draw(st.sampled_from(list(KEYS)))
        value = data.draw(values)
        if not table or data.draw(st.integers(0, 3)):
            target = plan.setdefault(table, {}) if table else plan
            if table == "block" and isinstance(target, list) and target:
                target = target[0]
            if isinstance(target, dict):
                target[data.draw(st.sampled_from(list(KEYS[table])))] = value
        else:
            plan[table] = value
    with contextlib.suppress(InputError):
        try:
            load_plan(plan)
        except InputError as error:
            assert "\n" not in str(error) and len(str(error)) <= LONGEST_LINE and str(error).isprintable()
            raise
