"""French of the supply study and the page Supply."""

from typing import Final

_PAGE: Final[dict[str, str]] = {
    "nav.supply": "Alimentation",
    "supply.title": "Alimentation",
}

STUDY: Final[dict[str, str]] = {**_PAGE}
