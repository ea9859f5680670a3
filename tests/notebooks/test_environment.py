"""environment.yml and pyproject.toml name the same packages and bounds, and what is installed fits them.

The conda file is parsed by the parser of a real solver; it is not solved against a channel.
"""

import importlib.metadata
import re
import sys
import tomllib
from pathlib import Path

import pytest
import yaml
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from rattler import MatchSpec, Version, VersionSpec

ROOT = Path(__file__).parent.parent.parent
CONDA_NAMES = {"matplotlib": "matplotlib-base"}  # package index -> channel, where they differ
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
WANTED = {r.name: r for r in map(Requirement, PROJECT["dependencies"] + PROJECT["optional-dependencies"]["test"])}
CONDA = yaml.safe_load((ROOT / "environment.yml").read_text())
PIP = next(d["pip"] for d in CONDA["dependencies"] if isinstance(d, dict))
FROM_CHANNEL = [d for d in CONDA["dependencies"] if isinstance(d, str)]
FROM_INDEX = [Requirement(p) for p in PIP if not p.startswith("-e")]
PINS = [Requirement(line) for line in (ROOT / "constraints.txt").read_text().splitlines() if not line.startswith("#")]


def _bounds(text):
    return sorted(re.findall(r"[<>=!~]+\s*[\d.]+", text.replace(" ", "")))


def test_the_file_holds_these_keys_only():
    assert list(CONDA) == ["name", "channels", "dependencies"]
    assert CONDA["channels"] == ["conda-forge"] and "-e ." in PIP


def test_same_packages_and_bounds():
    ours = {CONDA_NAMES.get(name, name): _bounds(str(r.specifier)) for name, r in WANTED.items()}
    theirs = {r.name: _bounds(str(r.specifier)) for r in FROM_INDEX}
    for line in FROM_CHANNEL:
        name, _, bounds = line.partition(" ")
        theirs[name] = _bounds(bounds)
    assert theirs.pop("python") == _bounds(PROJECT["requires-python"])
    assert theirs.pop("pip") == []
    assert theirs == ours


@pytest.mark.parametrize("line", FROM_CHANNEL)
def test_conda_parses_it_and_accepts_what_is_installed(line):
    spec = MatchSpec(line)
    name = next((n for n, conda in CONDA_NAMES.items() if conda == spec.name.normalized), spec.name.normalized)
    installed = "{}.{}.{}".format(*sys.version_info) if name == "python" else importlib.metadata.version(name)
    assert VersionSpec(line.partition(" ")[2] or "*").matches(Version(installed)), installed


def test_a_wrong_spec_is_refused():
    with pytest.raises(Exception, match=">>2"):
        MatchSpec("numpy >>2")


@pytest.mark.parametrize("name", WANTED)
def test_installed_version_is_within_the_bounds(name):
    assert WANTED[name].specifier.contains(importlib.metadata.version(name))


def test_pins_are_exact_and_within_the_bounds():
    names = {canonicalize_name(p.name) for p in PINS}
    assert {canonicalize_name(n) for n in WANTED} <= names
    for pin in PINS:
        assert re.fullmatch(r"==[\w.]+", str(pin.specifier)) and pin.url is None, pin
        if pin.name in WANTED:
            assert WANTED[pin.name].specifier.contains(str(pin.specifier)[2:]), pin
