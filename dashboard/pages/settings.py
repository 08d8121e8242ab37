"""Settings: what is in force in the module, in plain words; a change is drafted, compared, checked, sent.

The module decides: the page says its answer and the settings that it then reports.
"""

from collections.abc import Sequence
from typing import Any

import dash
from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids
from dashboard.access import signed
from dashboard.changing import PRESET, Draft, draft, is_kept, newest, send
from dashboard.components import attributes, notice
from dashboard.formats import MISSING, clock, date
from dashboard.links import Place, address, parse
from dashboard.queries import choose_module, reading
from dashboard.settings import Settings
from dashboard.texts import Number
from dashboard.view import View, view_of
from ingest.analysis.setting_change import PAIRS_MAX
from ingest.control_client import Client
from ingest.errors import UserError
from ingest.store.reader import HostCommand, Module, SettingsInForce, tables

PATH = "/settings"
DAY_MS = 86_400_000
SENT_MAX = 12
MODE = tables.SETTINGS["module.mode"].id
NAMES = {row.id: name for name, row in tables.SETTINGS.items()}
# Title of a group of the page, and the groups of the settings table that it holds.
GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("circuit", ("pressure", "end_expiratory")),
    ("breath", ("rate", "breath")),
    ("confirmed", ("confirmed",)),
    ("oxygen", ("oxygen", "cylinder")),
    ("supply", ("supply", "frequency")),
    ("battery", ("battery", "discharge")),
    ("signals", ("alarm",)),
    ("technical", ("sensor", "rail", "clock", "link", "log")),
    ("calibration", ("calibration",)),
    ("study", ("study",)),
)
CHANGES = {tables.COMMANDS[name]: name for name in ("set_settings", "set_preset")}


def page(settings: Settings, view: View, search: str | None) -> Component:
    """Return the page with the newest settings of the module."""
    words = view.words
    with reading(settings.store) as reader:
        module = choose_module(reader, parse(search).module)
    if module is None:
        return notice(words("empty.title"), words("empty.text"))
    found = newest(settings.store, module.id)
    if found is None:
        return notice(words("settings.title"), words("settings.none"))
    if len(found.values) != len(tables.SETTINGS):
        said = words("settings.other", count=len(found.values), known=len(tables.SETTINGS))
        return notice(words("settings.title"), said)
    running = Client(settings.store).running()
    return html.Div(
        [
            html.H1(words("settings.title")),
            html.Div(form(module, found, view), id=ids.SETTINGS_FORM),
            html.Section(
                [
                    html.H2(words("settings.review")),
                    html.Div(id=ids.SETTINGS_REVIEW, role="status", **attributes(aria_live="polite")),
                    html.P("" if running else words("settings.no_daemon"), className="answer"),
                    _sender(module, view),
                    html.P(id=ids.SETTINGS_ANSWER, className="answer", role="status"),
                ],
                className="settings-review",
            ),
            html.Section(
                [
                    html.H2(words("settings.history")),
                    html.Div(history(settings, module.id, view), id=ids.SETTINGS_HISTORY),
                ]
            ),
        ],
        className="page page-settings",
    )


def form(module: Module, found: SettingsInForce, view: View) -> list[Component]:
    """Return what is in force as fields, and which version the fields show."""
    words = view.words
    when = words("time.day", date=date(found.since, view.zone), clock=clock(found.since, view.zone, True))
    said: list[Component] = [
        html.P(words("settings.lead", when=when, version=found.version), className="lead"),
        html.P(words("settings.mode", mode=words(f"mode.{tables.MODES[found.values[MODE]]}"))),
    ]
    if found.values[tables.SETTINGS["module.unconfirmed"].id]:
        said.append(html.P(words("settings.unconfirmed"), className="use-confirm"))
    groups = [_group(key, inner, found.values, view) for key, inner in GROUPS]
    base = {"module": module.id, "version": found.version, "digest": found.digest}
    return [
        *said,
        _presets(found.values, view),
        html.P(words("settings.units"), className="soft"),
        *groups,
        dcc.Store(id=ids.SETTINGS_BASE, data=base),
    ]


def _presets(values: tuple[int, ...], view: View) -> Component:
    words = view.words
    choice = dcc.RadioItems(
        options=[{"label": words(f"preset.{name}"), "value": name} for name in tables.PRESETS],
        value=tables.PRESETS[values[PRESET]],
        id=ids.SETTINGS_PRESET,
        className="radios",
    )
    told = html.P(words("settings.preset_how"), className="soft")
    return html.Fieldset([html.Legend(words("settings.preset")), choice, told], className="kind-box")


def _group(key: str, inner: Sequence[str], values: tuple[int, ...], view: View) -> Component:
    rows = [row for row in tables.SETTINGS.values() if row.group in inner]
    kept = [html.Li(_kept(row, values[row.id], view)) for row in rows if is_kept(row.name)]
    parts: list[Component] = [_field(row, values[row.id], view) for row in rows if not is_kept(row.name)]
    if kept:
        parts += [html.P(view.words("settings.fixed"), className="soft"), html.Ul(kept)]
    title = html.Summary(html.H2(view.words(f"settings.group.{key}")))
    return html.Details([title, *parts], open=key == "circuit", className="setting-group")


def label(name: str, view: View) -> str:
    """Return the name of a setting in plain words."""
    for ending in ("gain", "offset"):
        if name.startswith("calibration.") and name.endswith(f"_{ending}"):
            channel = name.removeprefix("calibration.").removesuffix(f"_{ending}")
            return view.words(f"settings.calibration.{ending}", channel=view.words(f"channel.{channel}"))
    return view.words(f"setting.{name}")


def shown(name: str, steps: int, view: View) -> str:
    """Return a value as the page writes it: the unit left off, a day as a date, a choice as its word.

    What no discharge test has measured is missing, not zero.
    """
    if name.startswith("discharge.") and not steps:
        return MISSING
    if name.startswith("module.p"):
        return view.words(f"preset.{tables.PRESETS[steps]}")
    if name.endswith(("_day", ".day")):
        return date(steps * DAY_MS, view.zone) if steps else MISSING
    return view.words("data", text=tables.setting_text(name, steps).replace("-", "−"))


def _unit(row: tables.SettingRow, view: View) -> str:
    return "" if row.choices or row.name.endswith("day") else view.words("data", text=row.unit)


def _kept(row: tables.SettingRow, steps: int, view: View) -> str:
    value = shown(row.name, steps, view)
    unit = "" if value == MISSING else _unit(row, view)
    return view.words("settings.change.kept", name=label(row.name, view), value=value, unit=unit).strip()


def _field(row: tables.SettingRow, steps: int, view: View) -> Component:
    field_id = {"kind": ids.SETTINGS_FIELD, "setting": row.id}
    notes = [bounds(row, view), view.words("data", text=row.note)]
    if row.patient:
        notes.append(view.words("settings.per_patient"))
    told = html.Span(" · ".join(notes), className="soft note")
    if row.choices:
        radio = dcc.RadioItems(
            options=list(row.choices), value=row.choices[steps], id=field_id, className="radios"
        )
        box = html.Fieldset([html.Legend(label(row.name, view)), radio], className="kind-box")
        return html.Div([box, told], className="setting")
    typed = dcc.Input(
        id=field_id, type="text", value=tables.setting_text(row.name, steps), debounce=0.4, maxLength=12,
        autoComplete="off",
    )  # fmt: skip
    # The label holds its field, so that it names it and a press on either reaches it.
    named = html.Label([html.Span(label(row.name, view)), typed, html.Span(_unit(row, view))])
    return html.Div([named, told], className="setting")


def bounds(row: tables.SettingRow, view: View) -> str:
    """Return the hard bounds of a setting in words."""
    if row.choices:
        return view.words("settings.choices", choices=view.words("data", text=", ".join(row.choices)))
    return view.words("settings.bounds", **_edges(row, view)).strip()


def _edges(row: tables.SettingRow, view: View) -> dict[str, str]:
    low, high = (Number(f"{edge:g}".replace("-", "−")) for edge in (row.low, row.high))
    return {"low": low, "high": high, "unit": _unit(row, view)}


def _sender(module: Module, view: View) -> Component:
    words = view.words
    who = dcc.Input(id=ids.SETTINGS_WHO, type="text", maxLength=20, autoComplete="off")
    why = dcc.Input(id=ids.SETTINGS_WHY, type="text", maxLength=200, autoComplete="off")
    return html.Div(
        [
            html.Div([html.Label(words("settings.who"), htmlFor=ids.SETTINGS_WHO), who], className="field"),
            html.Div([html.Label(words("settings.why"), htmlFor=ids.SETTINGS_WHY), why], className="field"),
            html.Button(
                words("settings.send"), id=ids.SETTINGS_SEND, className="button", n_clicks=0, disabled=True
            ),
            html.A(words("settings.undo"), href=address(PATH, Place(module=module.id)), className="button"),
        ],
        className="mark-row",
    )


def review(wanted: Draft, view: View) -> list[Component]:
    """Return what would change, old and new, and every reason why it can't be sent."""
    words = view.words
    rows = [html.Li(_change(name, old, new, view)) for name, (old, new) in wanted.changes.items()]
    parts: list[Component] = [
        html.Ul(rows, className="changes") if rows else html.P(words("settings.unchanged"))
    ]
    against = _against(wanted, view)
    if against:
        parts.append(html.P(words("settings.refused"), className="answer"))
        parts.append(html.Ul([html.Li(one) for one in against], className="faults"))
    return parts


def _change(name: str, old: int, new: int, view: View) -> str:
    return view.words(
        "settings.change", name=label(name, view), old=shown(name, old, view), new=shown(name, new, view),
        unit=_unit(tables.SETTINGS[name], view),
    ).strip()  # fmt: skip


def _against(wanted: Draft, view: View) -> list[str]:
    words = view.words
    said: list[str] = []
    for name, text in wanted.unreadable:
        row = tables.SETTINGS[name]
        step, typed = Number(f"{1 / row.scale:g}"), words("data", text=text)
        said.append(
            words("settings.unreadable", name=label(name, view), text=typed, step=step, unit=_unit(row, view))
        )
    for fault in wanted.faults:
        other = "" if fault.other is None else label(fault.other, view)
        row = tables.SETTINGS[fault.setting]
        parts = {"name": label(row.name, view), "other": other, **_edges(row, view)}
        said.append(words(f"settings.fault.{fault.reason}", **parts))
    if wanted.blocked is not None:
        said.append(words(f"settings.blocked.{wanted.blocked}", n=len(wanted.changes), most=PAIRS_MAX))
    return said


def history(settings: Settings, module: int, view: View) -> list[Component]:
    """Return the newest changes that were sent: when, what, by whom, why, and what the module answered."""
    with reading(settings.store) as reader:
        sent = [one for one in reader.host_commands(module) if one.command in CHANGES]
    if not sent:
        return [html.P(view.words("settings.history_none"), className="soft")]
    return [html.Ul([html.Li(_sent(one, view)) for one in sent[: -SENT_MAX - 1 : -1]])]


def _sent(one: HostCommand, view: View) -> str:
    words = view.words
    answer = "settings.waiting" if one.result is None else f"result.{tables.COMMAND_RESULTS[one.result]}"
    when = words("time.day", date=date(one.utc, view.zone), clock=clock(one.utc, view.zone, seconds=True))
    who, why = words("data", text=one.operator), words("data", text=one.reason or MISSING)
    what = words(f"settings.sent.{CHANGES[one.command]}")
    return words("settings.sent", when=when, what=what, who=who, why=why, answer=words(answer))


def drafted(
    settings: Settings, base: Any, preset: str | None, typed: dict[str, str]
) -> tuple[SettingsInForce, Draft] | None:
    """Return the settings in force and the draft against them; None when they are not those of the fields."""
    found = newest(settings.store, int(base["module"]))
    if found is None or (found.version, found.digest) != (base["version"], base["digest"]):
        return None
    return found, draft(found.values, preset or "", typed)


def sending(
    settings: Settings, view: View, base: Any, preset: str | None, typed: dict[str, str], who: str, why: str
) -> tuple[str, SettingsInForce | None]:
    """Send what was drafted; return what to say, and the settings that the module then reported."""
    words = view.words
    if not who.strip() or not why.strip():
        return words("settings.needs_who"), None
    try:
        known = drafted(settings, base, preset, typed)
        if known is None:
            return words("settings.moved"), None
        if not known[1].may_be_sent:
            return words("settings.unchanged"), None
        person = signed(who.strip())
        outcome = send(settings.store, int(base["module"]), known[0].values, known[1], person, why.strip())
    except UserError as error:
        return words("settings.failed", reason=words("data", text=str(error))), None
    if outcome is None:
        return words("settings.no_answer"), None
    result, stored = outcome
    if result != "done":
        return words("settings.answer", result=words(f"result.{result}")), None
    if stored is None:
        return words("settings.not_stored"), None
    when = clock(stored.since, view.zone, seconds=True)
    return words("settings.confirmed", version=stored.version, clock=when), stored


def _typed(fields: list[dict[str, Any]]) -> dict[str, str]:
    return {NAMES[one["id"]["setting"]]: str(one.get("value") or "").strip() for one in fields}


def register(app: Dash, settings: Settings) -> None:
    """Add the page's callbacks."""
    fields = {"kind": ids.SETTINGS_FIELD, "setting": dash.ALL}

    @app.callback(
        Output(ids.SETTINGS_REVIEW, "children"), Output(ids.SETTINGS_SEND, "disabled"),
        Input(fields, "value"), Input(ids.SETTINGS_PRESET, "value"), Input(ids.SETTINGS_BASE, "data"),
    )  # fmt: skip
    def check(_: list[str], preset: str | None, base: Any) -> tuple[Any, bool]:
        view = view_of(request.cookies, settings)
        known = drafted(settings, base, preset, _typed(dash.ctx.inputs_list[0]))
        if known is None:
            return html.P(view.words("settings.moved")), True
        return review(known[1], view), not known[1].may_be_sent

    @app.callback(
        Output(ids.SETTINGS_ANSWER, "children"), Output(ids.SETTINGS_FORM, "children"),
        Output(ids.SETTINGS_HISTORY, "children"),
        Input(ids.SETTINGS_SEND, "n_clicks"),
        State(fields, "value"), State(ids.SETTINGS_PRESET, "value"), State(ids.SETTINGS_BASE, "data"),
        State(ids.SETTINGS_WHO, "value"), State(ids.SETTINGS_WHY, "value"),
        prevent_initial_call=True, running=[(Output(ids.SETTINGS_SEND, "disabled"), True, False)],
    )  # fmt: skip
    def press(
        clicks: int, _: list[str], preset: str | None, base: Any, who: str | None, why: str | None
    ) -> tuple[Any, ...]:
        if not clicks:
            raise PreventUpdate
        view, typed = view_of(request.cookies, settings), _typed(dash.ctx.states_list[0])
        said, stored = sending(settings, view, base, preset, typed, who or "", why or "")
        number = int(base["module"])
        with reading(settings.store) as reader:
            module = choose_module(reader, number)
        if stored is None or module is None:
            return said, dash.no_update, history(settings, number, view)
        return said, form(module, stored, view), history(settings, number, view)
