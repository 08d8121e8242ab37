"""Every text that a person sees, by key and language; nothing is shown that doesn't come from here."""

import re
from collections.abc import Mapping
from string import Formatter
from typing import Any

from dashboard.texts import english, french

# A text that a language lacks is said in English rather than not at all; a test names every such text.
CATALOGUES: dict[str, Mapping[str, str]] = {"en": english.TEXTS, "fr": {**english.TEXTS, **french.TEXTS}}
DEFAULT = "en"


class Number(str):
    """A number as text, its decimal mark still a point; `Words` puts in the mark of its language."""

    __slots__ = ()


# The point of a decimal number; not those of a version, an address or the fraction of a time of day.
POINT = re.compile(r"(?<![\d.:])(\d+)\.(?=\d+(?![\d.]))")


class _Marked(Formatter):
    """Format a text so that its numbers get the decimal mark of a language."""

    def __init__(self, mark: str) -> None:
        self._mark = mark

    def format_field(self, value: Any, format_spec: str) -> str:
        """Return one value as text."""
        text = format(value, format_spec)
        return text.replace(".", self._mark) if isinstance(value, float | Number) else text


class Words:
    """Say texts of one language. A key that ends in `.n` is chosen with `.one` when n is 1."""

    def __init__(self, language: str = DEFAULT, catalogue: Mapping[str, str] | None = None) -> None:
        self.language = language
        self._texts = CATALOGUES[language] if catalogue is None else catalogue
        self._mark = CATALOGUES[language]["number.decimal"]

    def __call__(self, key: str, **params: object) -> str:
        """Return the text of a key with its parameters put in. Raise KeyError for an unknown key."""
        if self._mark == ".":
            return self._texts[key].format(**params)
        return _Marked(self._mark).vformat(self._texts[key], (), params)

    def number(self, text: str) -> str:
        """Return a number, or several, with the decimal mark of the language."""
        return text.replace(".", self._mark)

    def decimals(self, text: str) -> str:
        """Return any text of ours with the decimal mark in its numbers; dates and versions stay."""
        return POINT.sub(rf"\1{self._mark}", text)

    def raw(self, key: str) -> str:
        """Return a text with its places left open, for the browser to fill."""
        return self._texts[key]

    def has(self, key: str) -> bool:
        """Tell whether there is a text of this key."""
        return key in self._texts

    def count(self, key: str, n: int, **params: object) -> str:
        """Return `key`.one or `key`.many, with `n` put in."""
        return self(f"{key}.one" if n == 1 else f"{key}.many", n=n, **params)
