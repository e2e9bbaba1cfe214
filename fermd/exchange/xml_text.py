"""The recipes of a BeerXML document, or a `ConfigError` that says why there are none.

XML can be made to grow without bound or to fetch what is outside the file. So the parser is
defusedxml's: it refuses any document type, entity or reference to elsewhere where it begins,
before anything is made of it. No tree is built: only the fields that are wanted are kept, so what
a file takes in memory does not depend on how many elements it has.

BeerXML 1.0 (beerxml.com/beerxml.htm): records stand in sets (RECIPES holds RECIPE), a value a
tag, tags in capitals, text in the encoding that the first line names, tags that are not of the
standard to be ignored.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from xml.etree.ElementTree import ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import XMLParser

from fermd.config.errors import ABSENT, ConfigError, Fault
from fermd.exchange.carried import DEEPEST, LARGEST_FILE_BYTES, tidy, whole

LONGEST_VALUE: Final = 4000
"""Characters of a field that are read."""

MOST_RECORDS: Final = 10_000
"""Recipes in a file, and names that are kept of one recipe."""

MOST_TAGS: Final = 200_000
"""Tags in a file: a recipe has some 300, so this is about what the largest file holds."""


@dataclass(slots=True)
class Recipe:
    """A RECIPE record: what was wanted of it."""

    number: int
    """Its place in the file, counted from 1."""
    fields: dict[str, str] = field(default_factory=dict)
    others: dict[str, None] = field(default_factory=dict)
    """Tags that were not wanted, in their order."""
    additions: list[tuple[str, str, str]] = field(default_factory=list)
    """Tag, name and use of what is added (HOP, MISC)."""
    faults: list[Fault] = field(default_factory=list)

    @property
    def where(self) -> str:
        """What messages call it."""
        return f"RECIPE[{self.number}]"


class _TooMuchError(Exception):
    """More than is read; the text says of what."""


def parse_recipes(data: bytes, file: Path | str, wanted: frozenset[str]) -> list[Recipe]:
    """All RECIPE records, each with the fields in `wanted`.

    Raises:
        ConfigError: it is too large, hostile, not XML, or has no recipe.

    """
    if len(data) > LARGEST_FILE_BYTES:
        raise whole(file, f"has {len(data)} bytes; at most {LARGEST_FILE_BYTES} are read")
    target = _Recipes(wanted)
    try:
        parser = XMLParser(target=target, forbid_dtd=True)
        # In one piece: a parser that is fed crumbs begins a long token anew with each of them.
        parser.feed(data)
        parser.close()
    except _TooMuchError as error:
        raise whole(file, str(error)) from None
    except DefusedXmlException:
        why = (
            "declares a document type or entities, which can make a reader grow without bound or "
            "fetch other files, and BeerXML needs none; delete the <!DOCTYPE ...> declaration"
        )
        raise whole(file, why) from None
    except ParseError as error:
        raise _syntax(file, error) from None
    except (LookupError, ValueError) as error:
        why = f"is in an encoding that is not known ({tidy(str(error), 80)}); save it as UTF-8"
        raise whole(file, why) from None
    if not target.recipes:
        root = f"its outermost tag is {tidy(target.root, 40)}; " if target.root else ""
        raise whole(file, f"has no recipe: {root}must be RECIPES with at least one RECIPE in it")
    return target.recipes


def _syntax(file: Path | str, error: ParseError) -> ConfigError:
    line, column = error.position
    what = str(error).rsplit(": line", 1)[0]
    hint = ""
    if "invalid token" in what or "encoding" in what:
        hint = "; if it has letters like ö, its first line must name the encoding, or save as UTF-8"
    if "undefined entity" in what:
        hint = "; XML itself knows only &amp; &lt; &gt; &quot; and &apos;"
    return whole(file, f"line {line}, column {column + 1}: is not XML: {tidy(what, 80)}{hint}")


class _Recipes:
    """Takes what the parser meets, keeps what is wanted."""

    def __init__(self, wanted: frozenset[str]) -> None:
        self.recipes: list[Recipe] = []
        self.root = ""
        self._wanted = wanted
        self._path: list[str] = []
        self._tags = 0
        self._base = 0
        self._text: list[str] | None = None
        self._length = 0
        self._addition: dict[str, str] = {}

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:  # noqa: ARG002
        path = self._path
        if not path:
            self.root = tag
        path.append(tag)
        self._tags += 1
        if self._tags > MOST_TAGS:
            raise _TooMuchError(f"has too many tags; at most {MOST_TAGS} are read")
        if len(path) > DEEPEST:
            raise _TooMuchError(f"is nested too deeply; at most {DEEPEST} levels are read")
        if path in (["RECIPES", "RECIPE"], ["RECIPE"]):
            self._base = len(path)
            self.recipes.append(Recipe(len(self.recipes) + 1))
            if len(self.recipes) > MOST_RECORDS:
                raise _TooMuchError(f"has too many recipes; at most {MOST_RECORDS} are read")
        inside = self._inside()
        if self._text is not None:
            self._complain_of_tag(path[-2])
        self._text, self._length = None, 0
        if inside is None:
            return
        if len(inside) == 1 and inside[0] not in self._wanted:
            others = self.recipes[-1].others
            if len(others) < MOST_RECORDS:
                others[tidy(tag, 40)] = None
        if self._is_wanted(inside):
            self._text = []

    def data(self, text: str) -> None:
        if self._text is not None and self._length < LONGEST_VALUE:
            part = text[: LONGEST_VALUE - self._length]
            self._text.append(part)
            self._length += len(part)

    def end(self, tag: str) -> None:
        inside = self._inside()
        if inside is not None and inside:
            value = "".join(self._text or ()).strip()
            self._take(inside, tag, value, self.recipes[-1])
        self._text = None
        self._path.pop()

    def close(self) -> None:
        return None

    def _complain_of_tag(self, holder: str) -> None:
        recipe = self.recipes[-1]
        why = "must hold a value and no other tag"
        recipe.faults.append(Fault(f"{recipe.where}.{holder}", ABSENT, why))

    def _inside(self) -> list[str] | None:
        """The path below the recipe; None outside of recipes."""
        path = self._path
        if path[:1] == ["RECIPE"] or path[:2] == ["RECIPES", "RECIPE"]:
            return path[self._base :]
        return None

    def _is_wanted(self, inside: list[str]) -> bool:
        if len(inside) == 1:
            return inside[0] in self._wanted
        return _is_addition(inside[:-1]) and inside[-1] in ("NAME", "USE")

    def _take(self, inside: list[str], tag: str, value: str, recipe: Recipe) -> None:
        if _is_addition(inside):
            name, use = self._addition.get("NAME", ""), self._addition.get("USE", "")
            if len(recipe.additions) < MOST_RECORDS:
                recipe.additions.append((tag, name, use))
            self._addition = {}
        elif not self._is_wanted(inside):
            return
        elif len(inside) > 1:
            self._addition[tag] = value
        elif tag in recipe.fields and recipe.fields[tag] != value:
            why = f"is there a second time; keep one (the other says {tidy(value, 40)!r})"
            recipe.faults.append(Fault(f"{recipe.where}.{tag}", recipe.fields[tag], why))
        else:
            recipe.fields[tag] = value


def _is_addition(inside: list[str]) -> bool:
    return inside in (["HOPS", "HOP"], ["MISCS", "MISC"])
