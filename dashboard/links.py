"""The address of a page is its whole state: module, night, window. Everything odd falls back."""

from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode

WINDOW_MS_MIN, WINDOW_MS_MAX = 500, 800 * 86_400_000
MS_MAX = 10**14


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Hold what an address asks for: module number, start of the night, window; UTC ms, None not said."""

    module: int | None = None
    night: int | None = None
    window: tuple[int, int] | None = None


def parse(search: str | None) -> Place:
    """Read an address's query."""
    asked = parse_qs((search or "").lstrip("?")[:500])
    first = {name: values[0] for name, values in asked.items()}
    start, end = _whole(first.get("from")), _whole(first.get("to"))
    window = None
    if start is not None and end is not None and WINDOW_MS_MIN <= end - start <= WINDOW_MS_MAX:
        window = (start, end)
    return Place(module=_module(first.get("module")), night=_whole(first.get("night")), window=window)


def address(path: str, place: Place) -> str:
    """Return the address of a page at a place."""
    asked: dict[str, str] = {}
    if place.module is not None:
        asked["module"] = f"{place.module:08x}"
    if place.night is not None:
        asked["night"] = str(place.night)
    if place.window is not None:
        asked["from"], asked["to"] = (str(edge) for edge in place.window)
    return f"{path}?{urlencode(asked)}" if asked else path


def around(start: int, end: int | None, now: int) -> tuple[int, int]:
    """Return a window that shows an event with what came before and after it."""
    last = now if end is None else end
    room = max((last - start) // 2, 60_000)
    return start - room, max(last, start + 1000) + room


def _whole(text: str | None) -> int | None:
    if text is None or not text.isascii() or not text.isdigit() or len(text) > 15:
        return None
    value = int(text)
    return value if value < MS_MAX else None


def _module(text: str | None) -> int | None:
    try:
        return None if text is None or len(text) > 8 else int(text, 16)
    except ValueError:
        return None
