"""A folder for results: other files stay, one writer at a time, each file whole, and it goes on where it was."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from orchardsim.core.errors import InputError
from orchardsim.results.folder import MANIFEST, WORKROOM, OutputFolder

NAMES = ("results.nc", "figures/cash.png")
WORDS = {"seed": 1}


def files_of(place: Path) -> dict[str, str]:
    """Digests of all files outside the hidden folder."""
    return {
        str(path.relative_to(place)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(place.rglob("*"))
        if path.is_file() and WORKROOM not in path.parts
    }


def run(place: Path, content: str = "a", kind: str = "run", names: tuple[str, ...] = NAMES, **how: bool) -> None:
    with OutputFolder(place, kind, names=names, identity=WORDS, **how) as folder:
        for name in names:
            folder.write_text(name, content)
        folder.finish()


def refused(place: Path, words: str, kind: str = "run", names: tuple[str, ...] = NAMES, **how: bool) -> None:
    before = files_of(place) if os.path.isdir(place) else None
    with pytest.raises(InputError, match=words) as raised:
        run(place, "refused", kind, names, **how)
    assert "\n" not in str(raised.value) and len(str(raised.value)) < 300 + len(str(place))
    assert before is None or files_of(place) == before


def test_only_what_we_wrote_is_replaced_or_removed(tmp_path):
    run(tmp_path, "first", names=(*NAMES, "figures/old.png"))
    mine = {"partial/notes.txt": "mine", "figures/mine.png": "mine", "figures/other.part": "mine", "old.part": "mine"}
    for name, content in mine.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(content)
    refused(tmp_path, "holds another run .results.nc.; .* --force")
    run(tmp_path, "second", force=True)
    assert set(files_of(tmp_path)) == {*NAMES, *mine}
    assert all((tmp_path / name).read_text() == "mine" for name in mine)
    assert all((tmp_path / name).read_text() == "second" for name in NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_a_file_that_is_not_ours_stops_the_command(name, tmp_path):
    (tmp_path / name).parent.mkdir(exist_ok=True)
    (tmp_path / name).write_text("mine")
    refused(tmp_path, "was not written by this program", force=True)
    assert not (tmp_path / WORKROOM).exists()


def test_a_file_of_ours_that_was_changed_is_no_longer_ours(tmp_path):
    run(tmp_path)
    (tmp_path / NAMES[1]).write_text("touched up")
    refused(tmp_path, "changed since", force=True)


def test_a_link_or_a_folder_in_the_place_of_a_file(tmp_path):
    (tmp_path / "elsewhere").write_text("mine")
    (tmp_path / NAMES[0]).symlink_to(tmp_path / "elsewhere")
    refused(tmp_path, "not written by this program", force=True)
    (tmp_path / NAMES[0]).unlink()
    (tmp_path / NAMES[0]).mkdir()
    refused(tmp_path, "not written by this program", force=True)


def test_another_commands_files_stay(tmp_path):
    run(tmp_path)
    run(tmp_path, "b", "comparison", ("compare.json", "figures/compare_cash.png"))
    run(tmp_path, "c", force=True)
    assert (tmp_path / "compare.json").read_text() == "b" and (tmp_path / "figures/compare_cash.png").exists()
    refused(tmp_path, "not written", "comparison", ("results.nc",), force=True)


@pytest.mark.parametrize("name", ["", "  "])
def test_an_empty_name(name):
    with pytest.raises(InputError, match="empty name"):
        OutputFolder(name, "run")


def test_places_that_cannot_be_a_folder(tmp_path):
    (tmp_path / "file").write_text("x")
    refused(tmp_path / "file", "is a file; --out needs a folder")
    refused(tmp_path / "file" / "below", "file is a file; --out needs a folder")
    refused(tmp_path / ("n" * 300), "cannot be written")
    (tmp_path / "run").mkdir()
    (tmp_path / "run" / "figures").write_text("mine")
    refused(tmp_path / "run", "figures: is a file where a folder is needed")
    (tmp_path / "hidden" / WORKROOM).mkdir(parents=True)
    (tmp_path / "hidden" / WORKROOM / "mine").write_text("mine")
    refused(tmp_path / "hidden", "not this program's")
    assert (tmp_path / "hidden" / WORKROOM / "mine").read_text() == "mine"


def test_nothing_is_left_where_nothing_was_written(tmp_path):
    with pytest.raises(ZeroDivisionError), OutputFolder(tmp_path / "a" / "b", "run", identity=WORDS):
        raise ZeroDivisionError
    assert not (tmp_path / "a").exists()


def test_two_writers(tmp_path):
    with OutputFolder(tmp_path, "run", identity=WORDS) as folder:
        folder.write_text("results.nc", "a")
        refused(tmp_path, "another command is writing into this folder")
        folder.finish()
    assert (tmp_path / "results.nc").read_text() == "a"


def test_the_lock_ends_with_its_owner(tmp_path):
    program = (
        "import os, sys\nfrom orchardsim.results.folder import OutputFolder\n"
        "folder = OutputFolder(sys.argv[1], 'run', identity={'seed': 1}).__enter__()\n"
        "folder.write_text('.orchardsim/trials-0-1.npz', 'a')\n"
        "folder.write('results.nc', lambda path: (path.write_text('half'), os._exit(9)))\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(tmp_path)], cwd=Path(__file__).parents[2], timeout=60)
    assert done.returncode == 9
    assert [path.suffix for path in (tmp_path / WORKROOM).iterdir()].count(".part") == 1
    with OutputFolder(tmp_path, "run", identity=WORDS, resume=True) as folder:
        assert folder.unfinished("trials") and not folder.holds("results.nc") and not folder.complete
        assert not list(tmp_path.rglob("*.part"))
        folder.write_text("results.nc", "whole")
        folder.finish()
    assert files_of(tmp_path).keys() == {"results.nc"}
    with OutputFolder(tmp_path, "run", identity=WORDS, resume=True) as folder:
        assert folder.complete


def test_a_stopped_command_goes_on_only_as_the_same(tmp_path):
    refused(tmp_path, "found no interrupted run", resume=True)
    with OutputFolder(tmp_path, "run", identity={"seed": 2}) as folder:
        folder.write_text("results.nc", "a")
    refused(tmp_path, "another one; repeat the same run, or start anew with --force", resume=True)
    refused(tmp_path, "unfinished run; go on with it by --resume")
    run(tmp_path, "b", force=True)
    refused(tmp_path, "holds another run")


def test_a_full_disk_leaves_what_was_there(tmp_path):
    run(tmp_path)

    def full(path: Path) -> None:
        path.write_text("half")
        raise OSError(28, "No space left on device")

    before = files_of(tmp_path)
    forced = OutputFolder(tmp_path, "run", identity=WORDS, force=True)
    with pytest.raises(InputError, match=r"results.nc could not be written: No space left on device"), forced as folder:
        folder.write("results.nc", full)
    assert files_of(tmp_path) == before and not list(tmp_path.rglob("*.part"))
    refused(tmp_path, "holds another run")


def test_a_manifest_cannot_name_files_elsewhere(tmp_path):
    outside = tmp_path / "outside.part"
    outside.write_text("mine")
    run(tmp_path / "run")
    digest = hashlib.sha256(b"mine").hexdigest()
    with (tmp_path / "run" / WORKROOM / MANIFEST).open("a") as stream:
        for name in ("../outside.part", str(outside), ".orchardsim/../../outside.part"):
            stream.write(json.dumps({"part": name}) + "\n")
            stream.write(json.dumps({"file": name, "sha256": digest, "kind": "run"}) + "\n")
        stream.write('{"file": "cut sho')
    run(tmp_path / "run", "again", force=True)
    assert outside.read_text() == "mine"
    assert os.listdir(tmp_path / "run" / WORKROOM) and (tmp_path / "run" / "results.nc").read_text() == "again"
