"""The house rules, held by tools: imports point down, style is clean, `--help` is light."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, check=False)


def test_imports_point_down():
    result = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; from importlinter.cli import lint_imports_command as c; sys.exit(c())",
            "--no-cache",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert result.returncode == 0, result.stdout + result.stderr


def test_style_is_clean():
    result = run("ruff", "check", "--no-cache", ".")
    assert result.returncode == 0, result.stdout


@pytest.mark.slow
def test_types_are_clean():
    result = run("mypy", "--no-incremental")
    assert result.returncode == 0, result.stdout


def test_help_loads_no_heavy_library():
    code = (
        "import sys, contextlib\n"
        "from orchardsim.cli.main import main\n"
        "with contextlib.suppress(SystemExit):\n    main(['--help'])\n"
        "heavy = {'numpy', 'scipy', 'xarray', 'matplotlib', 'pydantic', 'pint', 'simpy'} & set(sys.modules)\n"
        "sys.exit(str(heavy) if heavy else 0)"
    )
    result = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert result.returncode == 0, result.stderr
