"""'What to check first': trees of causes as data, and today's evidence beside each cause. Technical only.

A file holds causes (text by language, names of evidence, causes to look at next) and trees (alarm row or
`state.NAME` to causes). A site's file may replace or add causes and trees; a name that is
not known is refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from firmware_sim.contract import alarms
from firmware_sim.contract.channels import SUPPLY_STATES
from ingest.analysis.evidence import EVIDENCE, Look, Seen
from ingest.analysis.refusal import Refused

FORMAT: Final = "nightkeel first checks 1"
DEPTH_MAX: Final = 3
TEXT_MAX: Final = 200
LANGUAGES: Final = ("en", "fr")
CAUSE_KEYS: Final = (*LANGUAGES, "evidence", "then")
PLACES: Final = (*(row.name for row in alarms.ROWS), *(f"state.{name}" for name in SUPPLY_STATES))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """Hold one cause: its text by language, which evidence speaks about it, what to look at after it."""

    text: Mapping[str, str]
    evidence: tuple[str, ...]
    then: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """Hold all causes and trees."""

    causes: Mapping[str, Cause]
    trees: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """Hold one cause with what the record shows today, and its own branches."""

    name: str
    text: Mapping[str, str]
    seen: tuple[Seen, ...]
    branches: tuple[Branch, ...]


def book_of(content: Mapping[str, Any], where: str, under: Book | None = None) -> Book:
    """Read the content of a file; `under` is what a site's file changes. Raise Refused for any fault."""
    if content.get("format") != FORMAT:
        raise Refused("refused.first_format", where=where, format=FORMAT)
    _known(content, ("format", "causes", "trees"), where)
    causes = dict(under.causes) if under else {}
    for name, told in _table(content, "causes", where).items():
        causes[name] = _cause(told, f"{where}: {name}")
    trees = dict(under.trees) if under else {}
    for place, names in _table(content, "trees", where).items():
        if place not in PLACES:
            raise Refused("refused.first_key", where=where, name=repr(place), known="alarm rows, state.NAME")
        trees[place] = _names(names, f"{where}: {place}")
    book = Book(causes=causes, trees=trees)
    for place, names in trees.items():
        _sound(book, names, f"{where}: {place}", 1)
    return book


def _table(content: Mapping[str, Any], name: str, where: str) -> Mapping[str, Any]:
    found = content.get(name, {})
    if not isinstance(found, dict):
        raise Refused("refused.first_value", where=where, name=name)
    return found


def _known(told: Mapping[str, Any], known: Sequence[str], where: str) -> None:
    for name in told:
        if name not in known:
            raise Refused("refused.first_key", where=where, name=repr(name), known=", ".join(known))


def _cause(told: Any, where: str) -> Cause:
    if not isinstance(told, dict):
        raise Refused("refused.first_value", where=where, name="cause")
    _known(told, CAUSE_KEYS, where)
    text = {one: told[one] for one in LANGUAGES if one in told}
    if not text or not all(isinstance(one, str) and 0 < len(one) <= TEXT_MAX for one in text.values()):
        raise Refused("refused.first_value", where=where, name="/".join(LANGUAGES))
    evidence = _names(told.get("evidence", []), where)
    for name in evidence:
        if name not in EVIDENCE:
            raise Refused("refused.first_key", where=where, name=repr(name), known=", ".join(EVIDENCE))
    return Cause(text=text, evidence=evidence, then=_names(told.get("then", []), where))


def _names(told: Any, where: str) -> tuple[str, ...]:
    if not isinstance(told, list) or not all(isinstance(one, str) for one in told):
        raise Refused("refused.first_value", where=where, name="list")
    return tuple(told)


def _sound(book: Book, names: Sequence[str], where: str, depth: int) -> None:
    for name in names:
        if name not in book.causes:
            raise Refused("refused.first_key", where=where, name=repr(name), known=", ".join(book.causes))
        if depth == DEPTH_MAX and book.causes[name].then:
            raise Refused("refused.first_deep", where=where, name=name, depth=DEPTH_MAX)
        _sound(book, book.causes[name].then, where, depth + 1)


def tree(book: Book, place: str, look: Look) -> tuple[Branch, ...]:
    """Return the branches for an alarm row or a supply state, with what the record shows now."""
    return tuple(_branch(book, name, look) for name in book.trees.get(place, ()))


def _branch(book: Book, name: str, look: Look) -> Branch:
    cause = book.causes[name]
    seen = tuple(one for wanted in cause.evidence if (one := EVIDENCE[wanted](look)) is not None)
    return Branch(
        name=name, text=cause.text, seen=seen, branches=tuple(_branch(book, one, look) for one in cause.then)
    )


def in_language(branch: Branch, language: str) -> str:
    """Return a cause's text; a site that wrote one language only is shown in that one."""
    return branch.text.get(language) or next(iter(branch.text.values()))


