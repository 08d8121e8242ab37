"""On Now: one calm sentence of what is due, and the way to what to check first beside the alarms."""

from dash import html
from dash.development.base_component import Component

from dashboard.components import link
from dashboard.links import Place, address, parse
from dashboard.queries import choose_module, reading
from dashboard.settings import Settings
from dashboard.upkeep_words import now_line
from dashboard.view import View

PATH, FIRST = "/setup", "first"


def due_now(settings: Settings, view: View, search: str | None) -> Component | None:
    """Return what is due as a sentence with its way to Set-up, None when nothing is."""
    with reading(settings.store) as reader:
        module = choose_module(reader, parse(search).module)
        line = "" if module is None else now_line(reader, module.id, view)
    if module is None or not line:
        return None
    way = link(view.words("nav.setup"), address(PATH, Place(module=module.id)), className="button")
    return html.Div([html.Span(line), way], className="card-foot")


def first_link(module: int, view: View) -> Component:
    """Return the way to the causes of what stands."""
    place = f"{address(PATH, Place(module=module))}#{FIRST}"
    return html.P(link(view.words("first.link"), place, className="button"), className="first-way")
