"""The three studies of the experiments run in their quick mode and say what they should."""

from __future__ import annotations

import ast
import importlib
import importlib.util
import subprocess
import sys
from pathlib import Path

import pytest

from orchardsim.plan.study import load_study

EXPERIMENTS = Path(__file__).parents[2] / "experiments"
FILES = {
    "training_strategies": {"answer.txt", "systems.png", "interactions.png", "contrasts.csv"},
    "replacement_stock": {"answer.txt", "rules.csv", "rules.png"},
    "bad_seasons": {"answer.txt", "costs.csv", "costs.png"},
}


@pytest.mark.slow
@pytest.mark.parametrize("name", FILES)
def test_an_experiment_runs_in_its_quick_mode(name: str, tmp_path: Path) -> None:
    command = [sys.executable, str(EXPERIMENTS / name / "run.py"), "--quick", "--out", str(tmp_path / "out")]
    subprocess.run(command, check=True, capture_output=True)
    assert {path.name for path in (tmp_path / "out").iterdir()} == FILES[name]


@pytest.mark.slow
@pytest.mark.parametrize(
    "file", sorted(EXPERIMENTS.glob("*/*.toml")), ids=lambda path: f"{path.parent.name}/{path.stem}"
)
def test_a_declared_study_is_read_whole(file: Path) -> None:
    if file.stem != "plan":
        assert len(load_study(file).cells) >= 8


@pytest.mark.slow
def test_what_experiments_take_from_the_package_is_there() -> None:
    missing = []
    for file in sorted(EXPERIMENTS.glob("*/*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "orchardsim":
                room = importlib.import_module(str(node.module))
                missing += [
                    f"{file.parent.name}/{file.name}: {node.module}.{one.name}"
                    for one in node.names
                    if not hasattr(room, one.name) and importlib.util.find_spec(f"{node.module}.{one.name}") is None
                ]
    assert not missing
