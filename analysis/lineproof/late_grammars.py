"""Keeps a slow library asleep until somebody calls it.

The schema library that charts, notebooks and the validation library are built upon loads ``rfc3987_syntax``, which builds
a parser for each of some forty grammars (two seconds of every process) so that it could judge an international
address.  No schema of ours holds one.  What stands here in its name loads the real one at its first use.
"""

from __future__ import annotations

import sys
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

NAME = "rfc3987_syntax"


class _Asleep(ModuleType):
    """The module by its name; whatever is asked of it beyond ``is_valid_syntax`` wakes the real one."""

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):  # the import system looks at modules: that is no use of one
            raise AttributeError(name)
        return getattr(_awake(), name)

    @staticmethod
    def is_valid_syntax(term: str, value: str) -> bool:
        """As of the library: whether ``value`` is a sound ``term`` of RFC 3987."""
        return bool(_awake().is_valid_syntax(term, value))


def _awake() -> ModuleType:
    if isinstance(sys.modules.get(NAME), _Asleep):
        del sys.modules[NAME]
    return import_module(NAME)


def let_grammars_sleep() -> None:
    """Put the sleeping module where the real one would be imported; nothing where it is already, or not installed."""
    if NAME in sys.modules:
        return
    spec = find_spec(NAME)
    if spec is not None:
        asleep = _Asleep(NAME)
        asleep.__spec__ = spec
        sys.modules[NAME] = asleep
