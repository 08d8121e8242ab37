"""Every text that a person sees, by key and language; nothing is shown that doesn't come from here."""

from collections.abc import Mapping

from dashboard.texts import english, french

# A text that a language lacks is said in English rather than not at all; a test names every such text.
CATALOGUES: dict[str, Mapping[str, str]] = {"en": english.TEXTS, "fr": {**english.TEXTS, **french.TEXTS}}
DEFAULT = "en"


class Words:
    """Say texts of one language. A key that ends in `.n` is chosen with `.one` when n is 1."""

    def __init__(self, language: str = DEFAULT, catalogue: Mapping[str, str] | None = None) -> None:
        self.language = language
        self._texts = CATALOGUES[language] if catalogue is None else catalogue

    def __call__(self, key: str, **params: object) -> str:
        """Return the text of a key with its parameters put in. Raise KeyError for an unknown key."""
        return self._texts[key].format(**params)

    def raw(self, key: str) -> str:
        """Return a text with its places left open, for the browser to fill."""
        return self._texts[key]

    def has(self, key: str) -> bool:
        """Tell whether there is a text of this key."""
        return key in self._texts

    def count(self, key: str, n: int, **params: object) -> str:
        """Return `key`.one or `key`.many, with `n` put in."""
        return self(f"{key}.one" if n == 1 else f"{key}.many", n=n, **params)
