"""Colours and type of the screens: two themes, one table each, checked for contrast by the tests.

'paper' is a warm page with ink; 'dim' is for a dark room: low luminance, ember text, little blue. Data
colours keep away from the alarm colours and there is no green 'all clear' anywhere. Priority colours are
those of IEC 60601-1-8:2006+A1+A2, Table 2 (red, yellow, cyan); each always comes with a shape and a word.
"""

from typing import Final

SERIF: Final = "'Iowan Old Style', 'Palatino Linotype', Palatino, Georgia, 'DejaVu Serif', serif"
SANS: Final = "system-ui, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', Arial, sans-serif"

THEMES: Final = ("paper", "dim")

# Roles: page, panel, rule and ink colours; one colour a quantity; three a priority.
PALETTE: Final[dict[str, dict[str, str]]] = {
    "paper": {
        "page": "#FBF6EA",
        "panel": "#F4ECDA",
        "rule": "#D9CCB4",
        "edge": "#857863",
        "ink": "#2A2420",
        "soft": "#5F554B",
        "focus": "#5B3F9E",
        "before": "#5B3F9E",
        "after": "#B0583C",
        "oxygen": "#57682B",
        "pressure": "#1F567F",
        "rate": "#6B5A4E",
        "gap": "#A39680",
        "high": "#C8102E",
        "medium": "#F2C300",
        "low": "#00A3C4",
    },
    "dim": {
        "page": "#17110C",
        "panel": "#211810",
        "rule": "#3A2C20",
        "edge": "#8A6C50",
        "ink": "#D9A77A",
        "soft": "#B08A68",
        "focus": "#E0B080",
        "before": "#A382B8",
        "after": "#C4743F",
        "oxygen": "#8E9650",
        "pressure": "#9AA5A0",
        "rate": "#A08A78",
        "gap": "#5C4A3A",
        "high": "#E0283C",
        "medium": "#D9B100",
        "low": "#2FA3B8",
    },
}

# Quantities that share one panel, so that a person must tell them apart there.
SHARED_PANELS: Final = (("before", "after"),)
TEXT_ROLES: Final = ("ink", "soft")
DATA_ROLES: Final = ("before", "after", "oxygen", "pressure", "rate")
PRIORITY_ROLES: Final = ("", "low", "medium", "high")


def colours(theme: str) -> dict[str, str]:
    """Return the palette of a theme. Raise KeyError for a theme that isn't one."""
    return PALETTE[theme]


def with_alpha(colour: str, alpha: float) -> str:
    """Return '#rrggbb' as 'rgba(…)' with an opacity of 0..1."""
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"rgba({red},{green},{blue},{alpha})"


def stylesheet() -> str:
    """Return the custom properties of both themes as CSS; the style sheet uses only these.

    A page that knows no theme follows the browser's scheme.
    """
    blocks = {}
    for name in THEMES:
        lines = "".join(f"--{role}:{colour};" for role, colour in PALETTE[name].items())
        blocks[name] = f"{lines}color-scheme:{'light' if name == 'paper' else 'dark'};"
    known = "".join(f':root[data-theme="{name}"]{{{block}}}' for name, block in blocks.items())
    unknown = ":root:not([data-theme])"
    return (
        f":root{{--serif:{SERIF};--sans:{SANS};}}{known}{unknown}{{{blocks['paper']}}}"
        f"@media (prefers-color-scheme:dark){{{unknown}{{{blocks['dim']}}}}}"
    )
