"""What all tests share: settings folders of their own, tools that may be missing, matplotlib without a screen."""

import os
import shutil
import tempfile

import pytest

_settings = tempfile.TemporaryDirectory(prefix="macrolib-tests-")
# Before anything imports jupyter or matplotlib: tests neither read nor leave anything in the user's folders.
for _name in ("IPYTHONDIR", "MPLCONFIGDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR",
              "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "npm_config_cache"):
    os.environ[_name] = os.path.join(_settings.name, _name.lower())
    os.makedirs(os.environ[_name])
for _name in [n for n in os.environ if n.startswith("MACROLIB_")]:
    del os.environ[_name]  # a worksheet is tested with its defaults


def pytest_unconfigure():
    """Remove the settings folders."""
    _settings.cleanup()


@pytest.fixture(scope="session")
def tool():
    """Path of a program, as in tool("chromium"); without it the test is skipped, and fails where CI is set."""

    def find(name):
        path = shutil.which(name)
        if path is None:
            (pytest.fail if os.environ.get("CI") else pytest.skip)(f"the program {name} is not installed")
        return path

    return find
