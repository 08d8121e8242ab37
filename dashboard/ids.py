"""Ids of components that callbacks name, each once."""

from typing import Final

URL: Final = "url"
PAGE: Final = "page"
SHELL: Final = "shell"
BANNER: Final = "banner"
NAV: Final = "nav"
THEME: Final = "theme"
THEME_BUTTON: Final = "theme-button"

NOW_TICK: Final = "now-tick"
NOW_BODY: Final = "now-body"
NOW_WAVE: Final = "now-wave"
NOW_WAVE_DATA: Final = "now-wave-data"
NOW_CURSOR: Final = "now-cursor"
NOW_DRAWN: Final = "now-drawn"

NIGHT_GRAPH: Final = "night-graph"
NIGHT_HEAD: Final = "night-head"
NIGHT_LIST: Final = "night-list"
NIGHT_ALARMS: Final = "night-alarms"
NIGHT_MOVED: Final = "night-moved"
NIGHT_READOUT: Final = "night-readout"
