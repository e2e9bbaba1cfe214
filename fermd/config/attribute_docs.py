"""The docstrings that stand below attributes, as text: the one home of what a key means."""

from __future__ import annotations

import ast
import inspect
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


def _own_docs(kind: type) -> dict[str, str]:
    try:
        tree = ast.parse(textwrap.dedent(inspect.getsource(kind)))
    except (OSError, TypeError, SyntaxError):
        return {}
    (definition, *_) = tree.body
    if not isinstance(definition, ast.ClassDef):
        return {}
    docs = {}
    for field, below in zip(definition.body, definition.body[1:], strict=False):
        match field, below:
            case (
                ast.AnnAssign(target=ast.Name(id=name)),
                ast.Expr(value=ast.Constant(value=str(text))),
            ):
                docs[name] = " ".join(text.split())
    return docs
