"""Facades that import their modules on first use (PEP 562).

A room whose modules load heavy libraries declares its public names twice: in an
``if TYPE_CHECKING:`` block, for type checkers and editors, and as a table for :func:`lazy_getattr`.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping
from importlib import import_module


def lazy_getattr(package: str, modules: Mapping[str, Iterable[str]]) -> Callable[[str], object]:
    """Return a module-level ``__getattr__`` that imports a public name when it is first read.

    Args:
        package: dotted name of the package, its ``__name__``.
        modules: public names by the module of the package that defines them.
    """
    homes = {name: module for module, names in modules.items() for name in names}

    def import_name(name: str) -> object:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value = getattr(import_module(f"{package}.{homes[name]}"), name)
        setattr(sys.modules[package], name, value)
        return value

    return import_name
