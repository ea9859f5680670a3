"""Plan, build and measure a motorised close-up rail. SI inside; units where people read or type.

>>> import macrolib
>>> plan = macrolib.plan(macrolib.read_shot("shot.toml"), macrolib.read_rig("rig.toml"))  # doctest: +SKIP
"""

import importlib

__version__ = "0.1.0"
_HOME = {"read_rig": "macrolib.rig", "read_shot": "macrolib.shot", "plan": "macrolib.planning"}
__all__ = ["plan", "read_rig", "read_shot"]


def __getattr__(name):
    # Looked up on first use, so that importing macrolib costs next to nothing.
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module 'macrolib' has no attribute {name!r}")
