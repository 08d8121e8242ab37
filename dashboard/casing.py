"""What the page Case asks of the store and of the daemon. Texts stay out."""

from dataclasses import dataclass

from dashboard.links import parse
from dashboard.marking import Draft, write
from dashboard.queries import choose_module, reading
from dashboard.settings import Settings
from dashboard.view import View
from ingest.analysis.case_look import CaseLook, case_look
from ingest.analysis.cases import ENDED, GOES_ON, Case, checked_end, relabelled
from ingest.control_client import Client
from ingest.marks import change_mark
from ingest.store.reader import Module, tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Bedside:
    """Hold a module, its cases, and what is in force now by its newest trend (None: nothing recorded)."""

    module: Module
    look: CaseLook
    mode: str | None
    preset: str | None
    unconfirmed: bool
    button_open: bool


def bedside(settings: Settings, view: View, search: str | None) -> Bedside | None:
    """Return how things stand at the bed shown, None for an empty store."""
    with reading(settings.store) as reader:
        module = choose_module(reader, parse(search).module)
        if module is None:
            return None
        look, latest = case_look(reader, module.id, view.now), reader.latest(module.id)
    codes = None if latest is None else latest.codes
    flags = 0 if codes is None else codes["flags"]
    return Bedside(
        module=module,
        look=look,
        mode=None if codes is None else tables.MODES[codes["mode"]],
        preset=None if codes is None else tables.PRESETS[codes["preset"]],
        unconfirmed=bool(flags & tables.TREND_FLAGS["limits_unconfirmed"]),
        button_open=bool(flags & tables.TREND_FLAGS["button_open"]),
    )


def start(
    settings: Settings, module: int, mode: str, preset: str, label: str, who: str
) -> tuple[int, str | None]:
    """Start a case; return its number and the name of the module's answer, None when none came in time."""
    number, found = Client(settings.store).start_case(
        module, mode=mode, preset=preset, label=label, operator=who, from_page=True
    )
    return number, None if found is None else tables.COMMAND_RESULTS[int(found["result"])]


def end(settings: Settings, case: Case, at: int | None, who: str, record_only: bool) -> str | None:
    """End an open case at `at` (UTC ms, None: now); return the name of the module's answer."""
    client, now = Client(settings.store), settings.clock()
    checked_end(case, at or now, now)
    if record_only and not client.running():
        change_mark(settings.store, case.mark, now, author=who, data=case.data(ENDED), utc_end=at or now)
        return None
    _, found = client.end_case(case.module, operator=who, end=at, record_only=record_only, from_page=True)
    return None if found is None else tables.COMMAND_RESULTS[int(found["result"])]


def rename(settings: Settings, case: Case, label: str, who: str) -> str:
    """Correct what a case is called, its history kept; return the label as it stands now."""
    text, data = relabelled(case, label)
    change_mark(settings.store, case.mark, settings.clock(), author=who, text=text, data=data)
    return text


def goes_on(settings: Settings, module: int, who: str) -> None:
    """Write down that somebody looked and the case goes on."""
    now = settings.clock()
    write(settings.store, module, Draft(utc=now, kind=GOES_ON, author=who, text=""), now)


def confirm(settings: Settings, module: int, who: str, redraw: bool) -> str | None:
    """Confirm the limits in force, or draw them around the breath seen now; return the module's answer."""
    client = Client(settings.store)
    body = tables.command_body("confirm_limits", (int(redraw),))
    row = client.command(
        module, tables.COMMANDS["confirm_limits"], body, operator=who, reason="", from_page=True
    )
    found = client.answered(row)
    return None if found is None else tables.COMMAND_RESULTS[int(found["result"])]
