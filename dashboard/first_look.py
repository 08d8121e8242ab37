"""What to check first, as words: the file of the package, changed by the site's, with today's evidence."""

import tomllib
from collections.abc import Iterable
from pathlib import Path

from dash import html
from dash.development.base_component import Component

from dashboard.formats import clock
from dashboard.view import View
from ingest.analysis.evidence import Look, Seen
from ingest.analysis.first_checks import Book, Branch, book_of, in_language, tree
from ingest.errors import UserError
from ingest.store.reader import tables

PACKAGE_FILE = Path(__file__).with_name("first_checks.toml")
SITE_NAME = "first-checks.toml"
BYTES_MAX = 200_000


def site_file(store: Path) -> Path:
    """Return where a site keeps its own causes: beside the store."""
    return store.absolute().with_name(SITE_NAME)


def load(store: Path) -> Book:
    """Return causes and trees, a site's own put over the package's. Raise UserError for a faulty file."""
    book = book_of(_read(PACKAGE_FILE), PACKAGE_FILE.name)
    own = site_file(store)
    return book_of(_read(own), own.name, under=book) if own.exists() else book


def _read(path: Path) -> dict[str, object]:
    if path.stat().st_size > BYTES_MAX:
        raise UserError(f"{path.name} is larger than {BYTES_MAX} bytes; that is no file of first checks.")
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except (ValueError, RecursionError) as error:
        raise UserError(f"{path.name} is not TOML: {error}; mend it or take it away.") from None


def said(seen: Seen, view: View) -> str:
    """Return one finding in words."""
    params: dict[str, object] = {}
    for name, value in seen.params.items():
        if name.endswith("_at"):
            params[name.removesuffix("_at")] = clock(int(str(value)), view.zone)
        elif name in ("mode", "preset", "part", "deed"):
            params[name] = view.words(f"{name}.{value}")
        else:
            params[name] = value
    return view.words(seen.key, **params)


def lines(branches: Iterable[Branch], view: View, depth: int = 0) -> list[str]:
    """Return a tree as lines of text, for a terminal."""
    out = []
    for branch in branches:
        out.append(f"{'   ' * depth}- {in_language(branch, view.words.language)}")
        out += [f"{'   ' * depth}    {said(one, view)}" for one in branch.seen]
        out += lines(branch.branches, view, depth + 1)
    return out


def shown(branches: Iterable[Branch], view: View) -> Component:
    """Return a tree as nested lists, what the record shows today beside each cause."""
    return html.Ul([_item(one, view) for one in branches], className="causes")


def _item(branch: Branch, view: View) -> Component:
    words = view.words
    parts: list[Component] = [html.Span(words("data", text=in_language(branch, words.language)))]
    if branch.seen:
        findings = " · ".join(said(one, view) for one in branch.seen)
        parts.append(html.Span(findings, className="soft"))
    if branch.branches:
        parts.append(shown(branch.branches, view))
    return html.Li(parts)


def standing_places(book: Book, look: Look) -> list[str]:
    """Return the standing alarms, most urgent first, then the supply state where no alarm says the same."""
    if look.latest is None:
        return []
    found = sorted(look.latest.standing, key=lambda one: (-one.priority, one.start))
    rows = list(dict.fromkeys(tables.ALARMS[one.row].name for one in found))
    state = f"state.{tables.SUPPLY_STATES[look.latest.codes['supply_state']]}"
    said = [book.trees.get(one) for one in rows]
    return rows if book.trees.get(state) in said else [*rows, state]


def place_name(place: str, view: View) -> str:
    """Return an alarm row or a supply state by its name in the catalogue."""
    state = place.removeprefix("state.")
    return view.words(f"alarm.{place}") if state == place else view.words(f"now.state.{state}")


def trees(store: Path, reader: object, module: int, view: View) -> list[tuple[str, tuple[Branch, ...]]]:
    """Return (alarm row or state, its branches) for what stands now."""
    book, look = load(store), Look(reader, module, view.now)
    return [(place, tree(book, place, look)) for place in standing_places(book, look)]
