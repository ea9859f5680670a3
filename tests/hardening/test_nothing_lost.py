"""Nothing is lost: runs that are killed, disks that are full, folders that two runs share, links, odd names, changed demo files."""

import contextlib
import json
import os
import resource
import shutil
import signal
import sys
from pathlib import Path

import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.planning.__main__ import main
from macrolib.planning.output import WRITERS, write_plan

DATA = Path(__file__).parents[2] / "notebooks" / "data"
MOMENTS = 100
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="the tests fork")


@pytest.fixture(scope="module")
def plans():
    shot = read_shot(DATA / "shots/moss-capsule.toml")
    return [plan(shot, read_rig(DATA / f"rigs/{name}.toml"), mends=False) for name in ("bench-screw", "lab-ball-screw")]


@pytest.fixture(scope="module")
def whole(plans):
    """{file name: what either plan writes there}."""
    return {name: {write(p).encode() for p in plans} for name, write in WRITERS.items()}


def _in_child(work):
    """Run `work` in a child process; its wait status. 0: done, exit code 3: an OSError."""
    child = os.fork()
    if child == 0:
        code = 4
        try:
            work()
            code = 0
        except OSError:
            code = 3
        finally:
            os._exit(code)
    return os.waitpid(child, 0)[1]


def _killed_at(event):
    """Kills the process at its n-th call or return: the same moment in each run."""
    left = event

    def count(*_):
        nonlocal left
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
    return count


def _events(work):
    seen = 0

    def count(*_):
        nonlocal seen
        seen += 1
    sys.setprofile(count)
    work()
    sys.setprofile(None)
    return seen


def test_a_run_killed_at_any_of_100_moments_leaves_every_file_whole(plans, whole, tmp_path):
    old, new = plans
    write_plan(old, tmp_path)
    total = _events(lambda: write_plan(new, tmp_path, replace=True))
    killed, mixtures = 0, set()
    for moment in range(MOMENTS):
        write_plan(old, tmp_path, replace=True)

        def work(moment=moment):
            sys.setprofile(_killed_at(1 + moment * total // MOMENTS))
            write_plan(new, tmp_path, replace=True)
        killed += os.WIFSIGNALED(_in_child(work))
        found = {name: (tmp_path / name).read_bytes() for name in WRITERS}
        assert all(found[name] in whole[name] for name in WRITERS), f"torn at moment {moment}"
        mixtures.add(tuple(found.values()))
    assert killed == MOMENTS and len(mixtures) > 1, "some were killed before the first file, some between two"
    assert write_plan(new, tmp_path, replace=True), "what a killed run left behind is in nobody's way"


def test_a_full_disk_is_said_and_leaves_the_old_files(plans, whole, tmp_path):
    old, new = plans
    write_plan(old, tmp_path)
    before = {name: (tmp_path / name).read_bytes() for name in WRITERS}

    def work():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (3000, 3000))  # a file may not grow beyond: as on a full disk
        write_plan(new, tmp_path, replace=True)
    assert os.WEXITSTATUS(_in_child(work)) == 3
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_two_runs_in_one_folder_leave_whole_files_and_one_of_them_gives_way(plans, whole, tmp_path):
    for replace in (True, False):
        folder = tmp_path / str(replace)
        statuses = []
        for _ in range(10):
            shutil.rmtree(folder, ignore_errors=True)
            children = []
            for p in plans:
                child = os.fork()
                if child == 0:
                    code = 3
                    with contextlib.suppress(FileExistsError):
                        write_plan(p, folder, replace)
                        code = 0
                    os._exit(code)
                children.append(child)
            statuses += [tuple(sorted(os.WEXITSTATUS(os.waitpid(c, 0)[1]) for c in children))]
            found = {name: (folder / name).read_bytes() for name in WRITERS}
            assert all(found[name] in whole[name] for name in WRITERS)
            if not replace:
                assert sum(all(found[n] == write(p).encode() for n, write in WRITERS.items()) for p in plans) == 1, "a mixture"
        assert set(statuses) == ({(0, 0)} if replace else {(0, 3)})


def _command(*arguments):
    return main([str(a) for a in arguments])


def test_names_with_spaces_and_accents_and_links(tmp_path, capsys):
    folder = tmp_path / "Moos & Käfer été"
    folder.mkdir()
    shot, rig = folder / "ein Foto.toml", folder / "mein Gerät.toml"
    shutil.copy(DATA / "shots/moss-capsule.toml", shot)
    os.symlink(DATA / "rigs/bench-screw.toml", rig)
    assert _command(shot, rig, folder / "sorti é") == 0
    assert {p.name for p in (folder / "sorti é").iterdir()} == set(WRITERS)
    os.symlink(folder / "sorti é", folder / "link")
    assert _command(shot, rig, folder / "link") == 2 and "only when asked" in capsys.readouterr().err


@pytest.mark.parametrize(("place", "words"), [
    ("folder", "is a folder"), ("nowhere.toml", "no such file"), ("loop.toml", "no such file"), ("broken-link.toml", "no such file"),
    ("pipe", "no plain file"), ("large.toml", "at most"), ("latin.toml", "UTF-8")])
def test_what_is_no_file_is_refused_in_words(place, words, tmp_path, capsys):
    (tmp_path / "folder").mkdir()
    os.symlink(tmp_path / "loop.toml", tmp_path / "loop.toml")
    os.symlink(tmp_path / "gone.toml", tmp_path / "broken-link.toml")
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "large.toml").write_bytes(b"#" * 9_000_000)
    (tmp_path / "latin.toml").write_bytes('name = "Käfer"'.encode("latin-1"))
    assert _command(tmp_path / place, DATA / "rigs/bench-screw.toml", tmp_path / "out") == 2
    said = capsys.readouterr().err
    assert words in said and "Traceback" not in said and not (tmp_path / "out").exists()


@pytest.mark.parametrize("target", ["taken", "/proc/nothing/here"])
def test_a_target_that_cannot_be_written_is_said(target, tmp_path, capsys):
    (tmp_path / "taken").write_text("mine")
    status = _command(DATA / "shots/moss-capsule.toml", DATA / "rigs/bench-screw.toml", tmp_path / target)
    assert status == 2 and "Traceback" not in capsys.readouterr().err
    assert (tmp_path / "taken").read_text() == "mine"


def test_a_changed_demo_file_survives_and_is_what_is_planned(tmp_path):
    shutil.copytree(DATA / "rigs", tmp_path / "rigs")
    rig = tmp_path / "rigs" / "bench-screw.toml"
    rig.write_text(rig.read_text().replace("microsteps = 16", "microsteps = 32"))
    before = rig.read_bytes()
    assert _command(DATA / "shots/moss-capsule.toml", rig, tmp_path / "out") == 0
    assert rig.read_bytes() == before
    assert json.loads((tmp_path / "out" / "plan.json").read_text())["settings"]["microsteps"]["value"] == 32
