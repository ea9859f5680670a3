"""The house: who may import whom, how big things are, what every public name carries."""

import ast
import importlib
import inspect
import re
import subprocess
import sys
from pathlib import Path

import pytest

from macrolib.formula import Formula, check_dimensions

ROOT = Path(__file__).parent.parent
# Imports run downwards only: each floor uses those below it, and a package uses itself.
FLOORS = [{"units", "formula"}, {"physics", "files"}, {"rig", "shot"}, {"parts"}, {"planning", "measure", "controller"},
          {"show", "teach"}]
HEAVY = {"sympy": {"formula", "physics"}, "pint": set(), "scipy": set(), "matplotlib": {"show"}, "ipywidgets": {"show"},
         "anywidget": {"show"}, "IPython": {"show"}, "PIL": {"show", "measure"}}  # who may import it when it is itself imported
MODULES = sorted((ROOT / "macrolib").rglob("*.py"))
TEXTS = sorted(p for kind in ("*.py", "*.md", "*.toml", "*.yml", "*.cff", "*.cfg", "*.csv", "Makefile", "*.c", "*.h")
               for p in ROOT.rglob(kind)
               if not {".venv", "out", "build", "node_modules"} & set(p.relative_to(ROOT).parts)
               and not any(part.startswith(".") or part.endswith(".egg-info") for part in p.relative_to(ROOT).parts))


def _name(path):
    return path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".").removesuffix(".__init__")


def _room(name):
    """The part of macrolib that a module belongs to: 'macrolib.physics.ramps' is in 'physics'."""
    return (name.split(".") + [""])[1]


def _floor(room):
    return next((n for n, rooms in enumerate(FLOORS) if room in rooms), None)


def _imports(tree, top_only=False):
    """Dotted names that a module imports, as written; with top_only those outside functions."""
    nodes = [tree]
    while nodes:
        node = nodes.pop()
        if isinstance(node, ast.Import):
            yield from (a.name for a in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from (f"{node.module}.{a.name}" for a in node.names)
        if not (top_only and isinstance(node, (ast.FunctionDef, ast.Lambda))):
            nodes += ast.iter_child_nodes(node)


def _upward(name, source):
    """Imports that a module of this name may not have."""
    room = _room(name)
    for found in _imports(ast.parse(source)):
        other = _room(found)
        if found.startswith("macrolib.") and _floor(other) is not None and room and other != room:
            # formula builds on units; otherwise rooms on one floor do not know each other
            if _floor(other) >= _floor(room) and (room, other) not in {("formula", "units"), ("shot", "rig")}:
                yield f"{name} imports {found}"


def test_every_room_has_a_floor():
    rooms = {_room(_name(p)) for p in MODULES} - {""}
    assert rooms <= set().union(*FLOORS)


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_imports_run_downwards(path):
    assert list(_upward(_name(path), path.read_text())) == []


@pytest.mark.parametrize(("name", "source"), [
    ("macrolib.physics.ramps", "from macrolib import rig"),
    ("macrolib.planning.stack", "def f():\n    import macrolib.controller"),
    ("macrolib.planning.stack", "from macrolib.show.figures import draw"),
    ("macrolib.units", "from macrolib.formula import Formula"),
])
def test_an_upward_import_is_found(name, source):
    assert list(_upward(name, source))


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_heavy_packages_are_imported_where_they_are_used(path):
    for found in _imports(ast.parse(path.read_text()), top_only=True):
        package = found.split(".")[0]
        assert package not in HEAVY or _room(_name(path)) in HEAVY[package], f"{found} at the top of {_name(path)}"


def test_import_costs_numpy_at_most():
    code = f"import sys, macrolib; print([m for m in {sorted(HEAVY)} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert (done.stdout, done.stderr) == ("[]\n", "")


def _functions(tree):
    return [n for n in ast.walk(tree) if isinstance(n, (ast.FunctionDef, ast.AsyncFunctionDef))]


def _length(function):
    """Lines of a function without its docstring."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return function.end_lineno - body[0].lineno + 2 if body else 1


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_modules_and_functions_are_short(path):
    source = path.read_text()
    assert len(source.splitlines()) < (290 if path.name == "formula.py" else 400)
    long = {f.name: _length(f) for f in _functions(ast.parse(source)) if _length(f) >= 40}
    assert not long


def _public():
    """(module, name, object) of everything in an __all__."""
    for path in MODULES:
        module = importlib.import_module(_name(path)) if path.name != "__main__.py" else None
        for name in getattr(module, "__all__", []):
            yield module, name, getattr(module, name, None)


PUBLIC = list(_public())


MOST_LINES, MOST_PHYSICS, MOST_NAMES = 10250, 2000, 276


def _code_lines(source):
    """Lines that hold code: without blank lines, comments and docstrings."""
    tree, empty = ast.parse(source), set()
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)) and ast.get_docstring(node) is not None:
            empty.update(range(node.body[0].lineno, node.body[0].end_lineno + 1))
    return sum(bool(line.strip()) and not line.strip().startswith("#") and n not in empty
               for n, line in enumerate(source.splitlines(), 1))


def test_the_library_stays_small():
    """The aim is 5,000 lines and 120 names; the limits stand where the library stands, so that growth is a decision."""
    lines = {_name(p): _code_lines(p.read_text()) for p in MODULES}
    names = {(m.__name__, n) for m, n, _ in PUBLIC if m.__name__ != "macrolib.physics.symbols"}
    physics = sum(n for name, n in lines.items() if _room(name) == "physics")
    lengths = sorted(_length(f) for p in MODULES for f in _functions(ast.parse(p.read_text())))
    print(f"{sum(lines.values())} lines of code, {physics} of them physics; {len(names)} public names; "
          f"{len(lengths)} functions, half of them up to {lengths[len(lengths) // 2]} lines")
    assert sum(lines.values()) <= MOST_LINES
    assert physics <= MOST_PHYSICS
    assert len(names) <= MOST_NAMES
    assert lengths[len(lengths) // 2] < 12


@pytest.mark.parametrize("path", [p for p in MODULES if p.name != "__main__.py" and p.stat().st_size], ids=_name)
def test_every_module_says_what_it_is_for(path):
    assert ast.get_docstring(ast.parse(path.read_text()))


@pytest.mark.parametrize(("module", "name", "found"), PUBLIC, ids=[f"{m.__name__}.{n}" for m, n, _ in PUBLIC])
def test_public_names_have_a_docstring(module, name, found):
    assert found is not None, f"{name} stands in __all__ but is not there"
    if callable(found):
        # what a dataclass writes by itself, "Point(x, y)", says nothing
        assert (inspect.getdoc(found) or "") and not inspect.getdoc(found).startswith(f"{name}(")


def _formulas():
    """{module.name: Formula} of the formulas that the modules of physics define."""
    found = {}
    for path in (ROOT / "macrolib" / "physics").glob("*.py"):
        module = importlib.import_module(_name(path))
        defined = {t.id for n in ast.parse(path.read_text()).body if isinstance(n, ast.Assign)
                   for t in ast.walk(n) if isinstance(t, ast.Name) and isinstance(t.ctx, ast.Store)}
        found.update({f"{path.stem}.{n}": v for n, v in vars(module).items()
                      if isinstance(v, Formula) and n in defined})
    return found


FORMULAS = _formulas()


@pytest.mark.parametrize("name", FORMULAS)
def test_formula_dimensions_source_and_meaning(name):
    formula = FORMULAS[name]
    check_dimensions(formula)
    assert formula.source.strip(), "a formula names its source, or says that it has none"
    for symbol in (formula.result, *formula.symbols):
        assert symbol.meaning.strip() and symbol.unit.strip()


@pytest.mark.parametrize("name", FORMULAS)
def test_no_formula_is_written_twice(name):
    formula = FORMULAS[name]
    twins = [n for n, f in FORMULAS.items() if f is not formula and f.result == formula.result
             and set(f.symbols) == set(formula.symbols) and (f.expression - formula.expression).equals(0)]
    assert not twins


def _uses():
    """{name: how often it is read} in the library, the tests and the notebooks; a definition does not count."""
    counts = {}
    for path in [*MODULES, *(ROOT / "tests").rglob("*.py"), *(ROOT / "notebooks" / "src").rglob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text())):
            name = (node.id if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)
                    else node.attr if isinstance(node, ast.Attribute) else None)
            counts[name] = counts.get(name, 0) + 1
    return counts


def test_every_formula_is_used():
    uses = _uses()
    unused = sorted(n for n in FORMULAS if not uses.get(n.split(".")[1]))
    assert not unused, f"no test, no notebook and no plan uses {', '.join(unused)}: delete it"


_ELSEWHERE = re.compile(r"(?<![\w.:<$}\]])/(?:home|root|tmp|work|farm|Users|mnt|opt|var)/|\b[A-Z]:\\\w", re.I)


@pytest.mark.parametrize("path", TEXTS, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_texts_are_clean_and_stay_at_home(path):
    for number, line in enumerate(path.read_text("utf-8").splitlines(), 1):
        assert line == line.rstrip(), f"line {number} ends in blanks"
        assert "\t" not in line or path.name == "Makefile", f"line {number} has a tab"
        assert not _ELSEWHERE.search(line), f"line {number} points outside the project: {line.strip()[:80]}"
