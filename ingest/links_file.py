"""The file that names many links: TOML, a table `[[link]]` for each module.

    [[link]]
    url = "/dev/ttyACM0"
    site = "clinic"
    bed = "3"
    key = "bed3.key"

`site`, `bed` and `key` may be left out; `site` and `key` outside the tables hold for all links that have none
of their own. A key file's path counts from the folder of this file.
"""

import tomllib
from pathlib import Path
from typing import Any

from ingest.daemon import LinkPlan
from ingest.errors import UserError

_FIELDS = ("url", "site", "bed", "key")
_COMMON = ("site", "key")
_LABEL_MAX = 80
_PATH_MAX = 1000


def read_links(path: Path) -> list[LinkPlan]:
    """Return the links of a file; raise UserError with what is wrong, and where."""
    try:
        held = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(f"The file of links {path} can't be read ({error}).") from error
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise UserError(f"{path} is not TOML ({error}); write tables [[link]] with a url.") from error
    common: dict[str, Any] = {name: held.pop(name) for name in _COMMON if name in held}
    links = held.pop("link", None)
    if held:
        raise UserError(f"{path}: nobody knows {next(iter(held))!r}; write site, key or [[link]].")
    if not isinstance(links, list) or not links:
        raise UserError(f"{path} names no link; write a table [[link]] with a url for each module.")
    return [_plan(path, number, one, common) for number, one in enumerate(links, 1)]


def _plan(path: Path, number: int, one: Any, common: dict[str, Any]) -> LinkPlan:
    where = f"{path}, link {number}"
    if not isinstance(one, dict):
        raise UserError(f"{where}: write a table [[link]].")
    unknown = [name for name in one if name not in _FIELDS]
    if unknown:
        raise UserError(f"{where}: nobody knows {unknown[0]!r}; write {', '.join(_FIELDS)}.")
    values = {**common, **one}
    for name, value in values.items():
        longest = _LABEL_MAX if name in ("site", "bed") else _PATH_MAX
        if not isinstance(value, str) or len(value) > longest or "\0" in value:
            raise UserError(f"{where}: {name} must be a short text in quotes.")
    if not values.get("url"):
        raise UserError(f"{where} has no url; write one such as /dev/ttyACM0 or socket://127.0.0.1:7000.")
    key = read_key(path.parent / values["key"]) if "key" in values else None
    return LinkPlan(url=values["url"], site=values.get("site", ""), bed=values.get("bed", ""), key=key)


def read_key(path: Path) -> bytes:
    """Return the shared key in a file that only its owner may read."""
    try:
        data = path.read_bytes().strip()
        mode = path.stat().st_mode
    except OSError as error:
        raise UserError(f"The key file {path} can't be read ({error.strerror}).") from error
    if mode & 0o077:
        raise UserError(f"The key file {path} may be read by others; run `chmod 600 {path}`.")
    if len(data) < 16:
        raise UserError(f"The key in {path} has fewer than 16 bytes; make one with `openssl rand -hex 32`.")
    return data
