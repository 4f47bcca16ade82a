"""Input that is meant to break a reader: refused in one short line, and soon."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from orchardsim.cli.main import main
from orchardsim.core import units
from orchardsim.core.errors import LONGEST_LINE, InputError
from orchardsim.core.text import visible
from orchardsim.plan import load_plan
from orchardsim.plan.reading import LARGEST_FILE

from .examples import DEMO, changed

LONGEST_TIME = 5.0
"""s; far above the second that each takes at most, far below the minutes that each took before there were limits."""


def refusal(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """The one line of a command that refuses its input."""
    start = time.perf_counter()
    assert main(list(words)) == 2
    assert time.perf_counter() - start < LONGEST_TIME
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and len(err.rstrip("\n")) <= LONGEST_LINE
    assert err.rstrip("\n").isprintable()
    return err


POWERS = [
    "3.5 9**9**9**9 m",
    "3.5 m**9**9**9",
    "3.5 (m**9)**9",
    "3.5 " + "m*" * 20 + "m",
    "3.5 " + "(" * 50 + "m",
    "3.5 m" + " " * 100_000,
    "3.5 " + "m " * 100_000,
    "3.5 m\x00",
    "3.5 m; import os",
    "3.5 10 m",
    "٣ m",
    "1" * 5_000 + " m",
    "1e" + "9" * 50 + " m",
]


@pytest.mark.parametrize("text", POWERS)
def test_a_quantity_computes_nothing(text):
    start = time.perf_counter()
    with pytest.raises(InputError) as raised:
        load_plan(changed(("block.row_spacing", text)))
    assert time.perf_counter() - start < LONGEST_TIME
    line = str(raised.value)
    assert "block 1.row_spacing" in line and len(line) <= LONGEST_LINE and line.isprintable()


@pytest.mark.parametrize(
    ("text", "powers"),
    [
        ("m", {"meter": 1}),
        ("m^2", {"meter": 2}),
        ("m**-2", {"meter": -2}),
        ("m-2", {"meter": -2}),
        ("kg m-2", {"kilogram": 1, "meter": -2}),
        ("USD/acre/hour", {"USD": 1, "field_acre": -1, "hour": -1}),
        ("1/cm2", {"centimeter": -2}),
        ("%/year", {"percent": 1, "year": -1}),
        ("°F day", {"degree_Fahrenheit": 1, "day": 1}),
        ("m/m", {}),
    ],
)
def test_units_are_read_factor_by_factor(text, powers):
    assert dict(units.unit_powers(text)) == powers


HOSTILE_FILES = {
    "endless number": "a = " + "9" * 400,
    "longer than the language reads": "price_year = " + "9" * 5_000,
    "just within a line": "price_year = " + "9" * 3_900,
    "deep tables": "\n".join(["[" + ".".join("a" * 1_500) + "]", ".".join("b" * 1_500) + " = 1"]),
    "deep inline tables": "a = " + "{a=" * 900 + "1" + "}" * 900,
    "deep lists": "a = " + "[\n" * 2_000 + "]" * 2_000,
    "many keys": "\n".join(f"k{n} = 1" for n in range(40_000)),
    "a long line": "a = '" + "x" * 100_000 + "'",
    "dotted keys": "\n".join(".".join(f"{n}x{i}" for i in range(700)) + " = 1" for n in range(100)),
    "a long unknown key": "x" * 3_000 + " = 1",
    "a date": "title = 2024-99-99",
    "steering signs in a key": '"a\\u001b[2J" = 1',
}


@pytest.mark.parametrize("name", HOSTILE_FILES)
def test_hostile_files_are_refused_soon(name, tmp_path, capsys):
    path = tmp_path / "plan.toml"
    path.write_text(HOSTILE_FILES[name])
    assert "plan.toml" in refusal(capsys, "check", str(path))


def test_a_file_beyond_the_limit_is_not_read(tmp_path, capsys):
    path = tmp_path / "plan.toml"
    path.write_bytes(b"#" * (LARGEST_FILE + 1))
    assert "allowed at most" in refusal(capsys, "check", str(path))


@pytest.mark.parametrize("command", ["check", "run", "weather", "compare", "stress", "spares", "report"])
def test_devices_and_pipes_are_not_opened(command, tmp_path, capsys):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for name in ("/dev/zero", str(pipe)):
        words = [name, str(DEMO)] if command == "compare" else [name]
        assert name in refusal(capsys, command, *words)


def test_a_record_may_be_no_device(tmp_path, capsys):
    path = tmp_path / "plan.toml"
    for record in ("/dev/zero", "x" * 300, "", ".", "a\\u0000b"):
        path.write_text(DEMO.read_text().replace('record = "bundled cool"', f'record = "{record}"'))
        assert "weather.record" in refusal(capsys, "check", str(path))
    assert "/dev/zero" in refusal(capsys, "run", str(DEMO), "--weather", "/dev/zero")


def test_names_of_files_too_long_for_the_system(capsys):
    for command in ("check", "weather", "report"):
        refusal(capsys, command, "x" * 5_000)


# Signs by the Unicode Standard, chapter 23: U+202E turns the direction of writing, U+2066 isolates it, U+0085 and
# U+2028 end a line, U+E000 is for private use.
@pytest.mark.parametrize("sign", ["\x00", "\x07", "\x1b", "\n", "\t", "\x7f", "\x85", "‮", "⁦", "\u2028", "\ue000"])
def test_names_that_would_steer_a_terminal_are_refused(sign):
    with pytest.raises(InputError) as raised:
        load_plan(changed(("block.name", f"no{sign}rth")))
    line = str(raised.value)
    assert f"U+{ord(sign):04X}" in line and line.isprintable()
    with pytest.raises(InputError) as raised:
        load_plan(changed(("block.cultivar", f"Ga{sign}la")))
    assert str(raised.value).isprintable()


@pytest.mark.parametrize(
    "name", ["a $x_1$ b", "$", "50 % & <b>", "שלום", "أحمد", "🍎 north", "नीम", "a\u200db", "Łąka"]
)
def test_names_in_any_script_are_kept(name):
    assert load_plan(changed(("block.name", name))).blocks[0].name == name


def test_long_text_is_cut_in_its_middle():
    assert visible("a" * 500 + "z", 40).endswith("z") and len(visible("a" * 500, 40)) == 40
    error = InputError("f" * 9_000, "found " + "x" * 9_000 + ", allowed: short")
    assert len(f"orchardsim: {error}") <= LONGEST_LINE and str(error).endswith("allowed: short")


def test_folders_one_may_not_enter(tmp_path, capsys, monkeypatch):
    """Root may enter any folder, so the refusal is the system's own, made up."""

    def refused(path: object, **_: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr("orchardsim.core.files.os.stat", refused)
    assert "Permission denied" in refusal(capsys, "check", str(Path(tmp_path) / "plan.toml"))
