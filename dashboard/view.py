"""How one person wants the pages: words, zone, theme, width. Told by cookies, never trusted."""

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from dashboard.settings import Settings
from dashboard.texts import CATALOGUES, DEFAULT, Words
from dashboard.theme import THEMES
from dashboard.units import USUAL
from ingest.analysis.units import CIRCUIT_UNITS

WIDTH_MIN, WIDTH_USUAL, WIDTH_MAX = 280, 1200, 3000
PHONE_WIDTH = 700


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Hold words, zone, theme, width in CSS pixels, the server's time in UTC ms, the unit of pressure."""

    words: Words
    zone: ZoneInfo
    theme: str
    width: int
    now: int
    unit: str = USUAL

    @property
    def phone(self) -> bool:
        """Tell whether the page is one column."""
        return self.width < PHONE_WIDTH


def view_of(cookies: Mapping[str, str], settings: Settings) -> View:
    """Read the cookies `nk_lang`, `nk_zone`, `nk_theme`, `nk_width`, `nk_unit`; anything odd falls back."""
    language = cookies.get("nk_lang", DEFAULT)
    theme = cookies.get("nk_theme", THEMES[0])
    unit = cookies.get("nk_unit", USUAL)
    return View(
        words=Words(language if language in CATALOGUES else DEFAULT),
        zone=_zone(settings.zone or cookies.get("nk_zone", "UTC")),
        theme=theme if theme in THEMES else THEMES[0],
        width=_width(cookies.get("nk_width", "")),
        now=settings.clock(),
        unit=unit if unit in CIRCUIT_UNITS else USUAL,
    )


def zone_of(name: str) -> ZoneInfo | None:
    """Return a zone by its name in the tz database, None when there is none of that name."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return None


def _zone(name: str) -> ZoneInfo:
    return zone_of(name) or ZoneInfo("UTC")


def _width(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 6):
        return WIDTH_USUAL
    return max(WIDTH_MIN, min(WIDTH_MAX, int(text)))
