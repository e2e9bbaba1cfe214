"""The docstrings that stand below attributes, as text: the one home of what a key means."""

from __future__ import annotations

import ast
import inspect
import sys
import textwrap
from collections.abc import Mapping
from functools import cache


@cache
def attribute_docs(kind: type) -> Mapping[str, str]:
    """The docstring of every attribute of a class and its bases that has one, on one line each.

    Empty where the source is not at hand: nothing but words depends on it.
    """
    docs: dict[str, str] = {}
    for part in reversed(kind.__mro__[:-1]):
        docs.update(_own_docs(part))
    return docs


@cache
def docs_of_module(name: str) -> Mapping[str, Mapping[str, str]]:
    """The same for every class of a module by the class's name, without their bases.

    Reads the module once: asked class by class, many classes would take seconds.
    """
    try:
        tree = ast.parse(inspect.getsource(sys.modules[name]))
    except (KeyError, OSError, TypeError, SyntaxError):
        return {}
    return {one.name: _docs_in(one) for one in tree.body if isinstance(one, ast.ClassDef)}


def _own_docs(kind: type) -> dict[str, str]:
    try:
        tree = ast.parse(textwrap.dedent(inspect.getsource(kind)))
    except (OSError, TypeError, SyntaxError):
        return {}
    (definition, *_) = tree.body
    if not isinstance(definition, ast.ClassDef):
        return {}
    return _docs_in(definition)


def _docs_in(definition: ast.ClassDef) -> dict[str, str]:
    docs = {}
    for field, below in zip(definition.body, definition.body[1:], strict=False):
        match field, below:
            case (
                ast.AnnAssign(target=ast.Name(id=name)),
                ast.Expr(value=ast.Constant(value=str(text))),
            ):
                docs[name] = " ".join(text.split())
    return docs
