"""Nothing typed or read is evaluated; every text is escaped; the notebook server keeps to this machine and asks for its token."""

import ast
import html.parser
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.planning.output import WRITERS
from macrolib.shot import write_shot

ROOT = Path(__file__).parents[2]
DATA = ROOT / "notebooks" / "data"
LIBRARY = sorted((ROOT / "macrolib").rglob("*.py"))
EVALUATES = {"eval", "exec", "compile", "__import__", "parse_expr", "literal_eval", "system", "popen", "loads_all", "load_module"}
HARMFUL = {"pickle", "marshal", "shelve", "yaml"}
EVIL = "\"'><script>alert(1)</script>${x}{{y}}`id`"


def _risks(source):
    """Calls that evaluate text, imports that can, and shells, in a module's source."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            owner = getattr(getattr(node.func, "value", None), "id", "")
            if name in EVALUATES and (name, owner) != ("compile", "re"):
                yield f"{name}()"
            if any(k.arg == "shell" or k.arg == "allow_pickle" for k in node.keywords):
                yield "a shell or a pickle"
            if name == "sympify" and not (isinstance(node.args[0], ast.Name) and node.args[0].id == "expression"):
                yield "sympify of something other than a formula's own expression"
        elif isinstance(node, (ast.Import, ast.ImportFrom)):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else [a.name for a in node.names]
            yield from (n for n in names if n.split(".")[0] in HARMFUL)


@pytest.mark.parametrize("path", LIBRARY, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_the_library_evaluates_nothing(path):
    assert list(_risks(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("source", ["eval(x)", "import pickle", "os.system('ls')", "run('ls', shell=True)", "sympify(text)",
                                    "from yaml import load", "builtins.exec(y)"])
def test_a_risk_is_found(source):
    assert list(_risks(source))


def test_names_of_attributes_cannot_be_typed_into_a_file(tmp_path):
    """A key like a dunder name is refused as any unknown key."""
    text = (DATA / "rigs/bench-screw.toml").read_text()
    for key in ("__class__", "__init__", "faults"):
        (tmp_path / "rig.toml").write_text(text.replace("[motor]\n", f'[motor]\n{key} = "1 mm"\n'))
        with pytest.raises(ValueError, match="is not a known key"):
            read_rig(tmp_path / "rig.toml")


class _Page(html.parser.HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags, self.handlers = set(), set()
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.handlers |= {name for name, _ in attrs if name.startswith("on")}


def _renamed(path, name):
    return re.sub(r'^name = ".*"', lambda _: f"name = {name}", path.read_text(), count=1, flags=re.M)


def test_what_stands_in_a_file_is_escaped_in_all_that_is_written(tmp_path):
    for kind in ("shot", "rig"):
        text = _renamed(DATA / ("shots/moss-capsule.toml" if kind == "shot" else "rigs/bench-screw.toml"), "'''" + EVIL + "'''")
        (tmp_path / f"{kind}.toml").write_text(text)
    made = plan(read_shot(tmp_path / "shot.toml"), read_rig(tmp_path / "rig.toml"), mends=False)
    assert made.shot.name == made.rig.name == EVIL
    written = {name: write(made) for name, write in WRITERS.items()}
    page = _Page(written["settings.html"])
    assert "script" not in page.tags and not page.handlers
    assert not re.search(r"^[=+@-]", written["schedule.csv"].replace("\r", "\n"), re.M), "a spreadsheet would take it for a formula"
    write_shot(made.shot, tmp_path / "again.toml")
    assert read_shot(tmp_path / "again.toml").name == EVIL


def test_the_notebook_server_keeps_to_this_machine_and_has_a_token():
    """What `make lab` starts: the command in the Makefile changes neither address nor token, and these are the defaults."""
    command = re.search(r"^lab:.*\n\t(.*)$", (ROOT / "Makefile").read_text(), re.M)[1]
    assert command == "@$(PY) -m jupyterlab $(LAB_OPTIONS) notebooks/00-start-here.ipynb"
    assert re.search(r"^LAB_OPTIONS \?=$", (ROOT / "Makefile").read_text(), re.M)
    code = ("from jupyter_server.serverapp import ServerApp; s = ServerApp(); t = s.identity_provider_class(parent=s).token; "
            "print(s.ip, len(t), s.allow_remote_access)")
    clean = {k: v for k, v in os.environ.items() if not k.startswith("JUPYTER")}
    ip, length, remote = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=clean).stdout.split()
    assert ip in ("localhost", "127.0.0.1") and int(length) >= 32 and remote == "False"
