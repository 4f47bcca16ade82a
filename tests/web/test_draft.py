"""A plan while it is edited: comments stay, wrong values change nothing, two that need each other go together."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import pytest

from orchardsim.core.errors import InputError
from orchardsim.plan.key_table import plan_keys
from orchardsim.plan.keys import with_keys
from orchardsim.plan.study import load_study
from orchardsim.web import forms
from orchardsim.web.draft import Draft
from orchardsim.web.folder import Folder
from orchardsim.web.study_keys import read_levels, study_keys

DEMO = Path(__file__).parents[2] / "configs" / "demo.toml"


@pytest.fixture
def draft(tmp_path):
    shutil.copy(DEMO, tmp_path / "demo.toml")
    return Draft(Folder(tmp_path), "demo")


def test_comments_stay(draft):
    before = draft.text
    draft.edit(("site", "row_direction"), "20", "number")
    draft.edit(("block", 0, "tree_spacing"), "4 ft", "number")
    draft.save()
    saved = draft.folder.read_plan("demo").decode()
    changed = {one for one in saved.splitlines() if one not in before.splitlines()}
    assert changed == {
        "row_direction = 20          # degrees clockwise from north",
        'tree_spacing = "4 ft"',
    }
    assert draft.plan.blocks[0].geometry.tree_spacing == pytest.approx(4 * 0.3048)
    assert not draft.changed


def test_wrong_value_changes_nothing(draft):
    before = draft.text
    with pytest.raises(InputError, match=r"0\.2 to 30 m"):
        draft.edit(("block", 0, "tree_spacing"), "99 m", "number")
    assert draft.text == before and not draft.changed
    draft.edit(("block", 0, "tree_spacing"), "2 m", "number")
    assert not draft.waiting


def test_values_that_need_each_other_go_together(draft):
    """An area in place of the groups' rows: neither change makes a plan alone."""
    with pytest.raises(InputError, match="add up"):
        draft.edit(("block", 0, "net_area"), "0.5 ha", "number")
    assert list(draft.waiting) == [("block", 0, "net_area")]
    draft.edit(("block", 0, "group", 1, "rows"), "", "whole number")
    assert not draft.waiting and draft.plan.planted_area == pytest.approx(5000, rel=0.1)


def test_tables_are_added_removed_and_taken_back(draft):
    before = draft.text
    draft.add(("block",))
    draft.add(("block", 1, "group"))
    assert [block.name for block in draft.plan.blocks] == ["west_side", "west_side 2"]
    assert [group.label for group in draft.plan.blocks[1].groups][-1].endswith("Honeycrisp 2")
    draft.remove(("block", 1))
    draft.remove(("block", 0, "pollinizer", 0))
    assert len(draft.plan.blocks) == 1 and not draft.plan.blocks[0].pollinizers
    for _ in range(4):
        draft.back()
    assert draft.text == before


def test_crews_idle_land_and_own_cultivars_are_added(draft):
    """Each is taken over as the plan file would state it; own prices stand before the cultivar is planted."""
    before = draft.text
    draft.add(("crews",))
    draft.add(("crews",))
    draft.edit(("crews", 1, "workers"), "4", "number")
    draft.add(("idle_land",))
    draft.edit(("idle_land", 0, "gross_area"), "2 ha", "number")
    draft.add(("cultivar",), "Dawn", "Gala")
    draft.edit(("market", "fruit", "Dawn", "juice"), "0.1 USD/kg", "number")
    draft.edit(("block", 0, "group", 1, "cultivar"), "Dawn", "text")
    assert [crew.workers for crew in draft.plan.crews] == [6, 4]
    assert sum(one.gross_area for one in draft.plan.idle_land) == pytest.approx(20_000)
    assert [group.cultivar_name for group in draft.plan.groups] == ["Gala", "Dawn"]
    found = tomllib.loads(draft.text)
    assert found["cultivar"]["Dawn"] == {"like": "Gala"} and found["market"]["fruit"]["Dawn"] == {"juice": "0.1 USD/kg"}
    draft.edit(("block", 0, "group", 1, "cultivar"), "Honeycrisp", "text")
    draft.remove(("idle_land", 0))
    draft.remove(("crews", 0))
    assert len(draft.plan.crews) == 1 and draft.plan.crews[0].workers == 4
    for _ in range(11):
        draft.back()
    assert draft.text == before
    with pytest.raises(InputError, match="stands in the plan already"):
        draft.add(("cultivar",), "Dawn", "Gala")
        draft.add(("cultivar",), "Dawn", "Gala")
    with pytest.raises(InputError, match="expected a name"):
        draft.add(("rootstock",), " ", "M.9")


def test_empty_farm_gets_its_first_block(tmp_path):
    shutil.copy(DEMO.with_name("idle_land.toml"), tmp_path)
    draft = Draft(Folder(tmp_path), "idle_land")
    for place in (("block",), ("block", 0, "group"), ("block", 0, "group")):
        draft.add(place)
    first, second = draft.plan.groups
    assert first.rows - second.rows in (0, 1) and first.label != second.label


def test_every_key_of_a_table_can_be_tried(draft):
    """A study takes each key as the page writes it (the plan model says which there are)."""
    offered = {key for keys in study_keys(draft).values() for key in keys}
    for table in ("costs", "hazards", "finance.tax", "physiology"):
        assert {key.key for key in plan_keys() if key.table == table} <= offered
    for key in offered:
        assert with_keys(draft.raw, {key: "tried"}, "study.toml") != draft.raw, key
    assert "block.west_side.group.Gala.rootstock" in offered and "futures.site_growth" in offered
    for key, text in (
        ("block.west_side.group.Gala.rootstock", "M.9, MM.111"),
        ("market.fruit.Gala.juice", "0.1 USD/lb, 0.2 USD/lb"),
        ("futures.site_growth", "known 1.2, known 0.8"),
        ("block.crop_load_target", "[4, 5, 6], [5, 6, 7]"),
        ("site.irrigated", "yes, no"),
    ):
        factor = {"name": "tried", "key": key, "levels": read_levels(draft, key, text)}
        study = load_study({"title": "t", "plan": draft.raw, "factor": [factor]}, base=draft.folder.place)
        assert len({cell.plan.hash for cell in study.cells}) == 2, key
    with pytest.raises(InputError, match="chosen from the list"):
        read_levels(draft, "title", "a, b")


def test_missing_tables_are_made(draft):
    draft.edit(("market", "fruit", "Gala", "juice"), "0.1 USD/lb", "number")
    draft.edit(("futures", "site_growth"), "known 1.2", "level")
    found = tomllib.loads(draft.text)
    assert found["market"]["fruit"]["Gala"]["juice"] == "0.1 USD/lb" and found["futures"]["site_growth"] == "known 1.2"


def test_file_changed_on_disk_is_not_written_over(draft):
    path = draft.folder.plan_path("demo")
    path.write_text(path.read_text() + "\n# by hand\n")
    draft.edit(("block", 0, "headland"), "8 m", "number")
    with pytest.raises(InputError, match="changed on disk"):
        draft.save()
    draft.save("other")
    draft.edit(("block", 0, "headland"), "9 m", "number")
    with pytest.raises(InputError, match="holds something else"):
        draft.save("other")


def test_two_programs_never_take_the_same_number(draft):
    one, other = draft.folder, Folder(draft.folder.place)
    assert [one.reserve("demo"), other.reserve("demo"), one.reserve("demo")] == [1, 2, 3]
    (one.kept("demo") / "3" / "results.nc").write_text("x")
    for number in (1, 2, 3):
        other.release("demo", number)
    assert one.numbers("demo") == [3]


@pytest.mark.parametrize("name", ["../demo", "a/b", "/etc/passwd", ".hidden", "", "x" * 99, "a\x00b", "con:"])
def test_names_that_lead_out_are_refused(draft, name):
    with pytest.raises(InputError):
        draft.folder.plan_path(name)
    with pytest.raises(InputError):
        draft.folder.record_path(f"{name}.csv")


@pytest.mark.parametrize("name", ["/etc/hostname", "../secret.csv", "inside/../../secret.csv", "link.csv"])
def test_a_plan_names_no_file_outside(draft, name, tmp_path_factory):
    """Neither by a field, nor in a brought file, a scenario or a study."""
    outside = tmp_path_factory.mktemp("outside") / "secret.csv"
    outside.write_text("date")
    (draft.folder.place / "link.csv").symlink_to(outside)
    with pytest.raises(InputError, match="leads out"):
        draft.edit(("weather", "record"), name, "text")
    with pytest.raises(InputError, match="leads out"):
        read_levels(draft, "weather.record", f"bundled, {name}")
    scenario = f'{draft.saved}\n[scenario.a]\n"weather.record" = "{name}"\n'
    learned = draft.saved.replace("[futures]", f'[futures]\nlearned = "{name}"')
    for number, text in enumerate((scenario, learned)):
        path = draft.folder.plan_path(f"brought {number}")
        path.write_text(text)
        with pytest.raises(InputError, match="leads out"):
            Draft(draft.folder, path.stem)


def test_links_that_lead_out_are_refused(draft, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "secret.toml"
    outside.write_text("title = 'x'")
    (draft.folder.place / "link.toml").symlink_to(outside)
    with pytest.raises(InputError, match="leads out"):
        draft.folder.read_plan("link")


def test_every_key_of_the_model_has_a_field(draft):
    """The form is made from the model: no key of the tables that the demo has is left out."""
    places = set()
    waiting = [group for part in forms.parts(draft) for group in part.groups]
    while waiting:
        group = waiting.pop()
        waiting += group.inner
        places |= {one.place for one in (*group.fields, *group.more)}
    tables = (
        "",
        "site",
        "block",
        "block.group",
        "block.pollinizer",
        "weather",
        "market",
        "costs",
        "finance",
        "hazards",
    )
    for key in plan_keys():
        if key.table in tables and key.name != "futures":
            start = {"block": ["block", 0], "block.group": ["block", 0, "group", 1]}.get(key.table)
            start = ["block", 0, "pollinizer", 0] if key.table == "block.pollinizer" else start
            place = [*(start or ([key.table] if key.table else [])), key.name]
            assert any(found == str(place).replace("'", '"') for found in places), key.key
