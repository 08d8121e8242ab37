"""`nightkeel settings`: show, set, export, import, compare."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from collections.abc import Callable

EPILOG = """\b
Examples:
  nightkeel settings show --store night.db --group pressure
  nightkeel settings set --store night.db pressure.high=35 --operator "A. B." --reason "high peaks"
  nightkeel settings export --store night.db ward.toml
  nightkeel settings import --store night.db ward.toml --operator "A. B." --reason "ward rules"
  nightkeel settings diff --store night.db ward.toml"""


@click.group(epilog=EPILOG)
def settings() -> None:
    """Show, set, export, import, compare a module's settings.

    `set` and `import` go over the daemon that records the module; the module itself answers, and who, why and
    when stay in the store. The others only read the store.
    """


def _target(command: "Callable[..., None]") -> "Callable[..., None]":
    command = click.option("--module", help="Number of the module, in hexadecimal digits.")(command)
    store = click.Path(path_type=Path)
    return click.option("--store", required=True, type=store, help="Store of the module.")(command)


def _person(command: "Callable[..., None]") -> "Callable[..., None]":
    command = click.option("--reason", required=True, help="Why; stays in the store.")(command)
    return click.option("--operator", required=True, help="Name or initials; stays in the store.")(command)


@settings.command(epilog="\b\nExample:\n  nightkeel settings show --store night.db --group oxygen")
@_target
@click.option("--group", help="One group only, such as pressure.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def show(store: Path, module: str | None, group: str | None, as_json: bool) -> None:
    """Show the settings in force with their bounds."""
    from firmware_sim.contract import settings as s
    from ingest.change_settings import in_force

    number, found = in_force(store, _module(module))
    rows = [row for row in s.SETTINGS if group in (None, row.group)]
    if not rows:
        known = ", ".join(dict.fromkeys(row.group for row in s.SETTINGS))
        raise UserError(f"There is no group '{group}'; there are {known}.")
    if as_json:
        named = {row.name: _value(row, found.values[row.id]) for row in rows}
        report = {"module": f"{number:08x}", "since_ms": found.since, "version": found.version,
                  "digest": found.digest, "settings": named}  # fmt: skip
        click.echo(json.dumps(report))
        return
    for row in rows:
        low, high = s.in_units(row.id, row.low), s.in_units(row.id, row.high)
        bounds = f"one of {row.unit}" if row.name in s.CHOICES else f"{low} to {high}"
        click.echo(f"{row.name:34}{s.in_units(row.id, found.values[row.id]):>22}   {bounds}")


def _value(row: Any, steps: int) -> dict[str, Any]:
    from firmware_sim.contract import settings as s

    if row.name in s.CHOICES:
        return {"value": s.CHOICES[row.name][steps], "unit": ""}
    return {"value": steps / row.scale, "unit": row.unit}


@settings.command("set", epilog="\b\nExample:\n  nightkeel settings set --store night.db pressure.high=35 "
                  "--operator AB --reason peaks")  # fmt: skip
@_target
@click.argument("texts", nargs=-1, required=True, metavar="NAME=VALUE...")
@_person
def set_(store: Path, module: str | None, texts: tuple[str, ...], operator: str, reason: str) -> None:
    """Change settings, all or none; values in the setting's unit."""
    from ingest.analysis.setting_text import assignments

    _change(store, module, assignments(texts), operator, reason)


@settings.command("import", epilog="\b\nExample:\n  nightkeel settings import --store night.db ward.toml "
                  "--operator AB --reason rules")  # fmt: skip
@_target
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--infant", is_flag=True, help="Put the site's infant preset in force.")
@_person
def import_(store: Path, module: str | None, file: Path, infant: bool, operator: str, reason: str) -> None:
    """Put a site file's settings in force, all or none."""
    from ingest import site_file

    _change(store, module, site_file.read(file, infant), operator, reason)


def _change(store: Path, module: str | None, wanted: dict[int, int], operator: str, reason: str) -> None:
    from firmware_sim.contract import settings as s
    from ingest.change_settings import in_force, plan, send

    if not operator.strip() or not reason.strip():
        raise UserError("A change needs who and why: --operator and --reason must not be empty.")
    number, found = in_force(store, _module(module))
    send(store, number, plan(found.values, wanted), operator, reason)
    for one, value in wanted.items():
        if found.values[one] != value:
            old, new = s.in_units(one, found.values[one]), s.in_units(one, value)
            click.echo(f"{s.SETTINGS[one].name}: {old.strip()} -> {new.strip()}")
    click.echo("The module confirmed the change.")


@settings.command(epilog="\b\nExample:\n  nightkeel settings export --store night.db ward.toml")
@_target
@click.argument("file", type=click.Path(path_type=Path))
def export(store: Path, module: str | None, file: Path) -> None:
    """Write the settings in force as a site file, .json or .toml."""
    from ingest import site_file
    from ingest.change_settings import in_force

    count = site_file.write(file, in_force(store, _module(module))[1].values)
    click.echo(f"{count} settings written to {file}.")


@settings.command(epilog="\b\nExample:\n  nightkeel settings diff --store night.db ward.toml --json")
@_target
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def diff(store: Path, module: str | None, file: Path | None, as_json: bool) -> None:
    """Compare the settings in force with a site file, or with the preset's defaults."""
    from firmware_sim.contract import settings as s
    from ingest import site_file
    from ingest.change_settings import PRESET, in_force

    values = in_force(store, _module(module))[1].values
    if file is not None:
        wanted = site_file.read(file)
    elif values[PRESET] == 2:
        raise UserError("There are no infant defaults to compare with; name the site's file.")
    else:
        wanted = dict(enumerate(s.defaults(values[PRESET])))
    changed = {one: value for one, value in wanted.items() if values[one] != value}
    if as_json:
        both = {s.SETTINGS[one].name: {"in_force": s.in_units(one, values[one]).strip(),
                                       "other": s.in_units(one, value).strip()}
                for one, value in changed.items()}  # fmt: skip
        click.echo(json.dumps({"differ": both}))
    for one, value in () if as_json else changed.items():
        old, new = s.in_units(one, values[one]).strip(), s.in_units(one, value).strip()
        click.echo(f"{s.SETTINGS[one].name}: in force {old}, {'file' if file else 'default'} {new}")
    if not changed and not as_json:
        click.echo("No difference.")
    _refuse(file, [wanted.get(one, value) for one, value in enumerate(values)])


def _refuse(file: Path | None, wanted: list[int]) -> None:
    """Raise UserError when a set that was compared could not be put in force."""
    from ingest.analysis.setting_text import checked

    try:
        checked(wanted)
    except UserError as error:
        raise UserError(f"{file or 'The defaults'} can't be put in force: {error}") from None


def _module(text: str | None) -> int | None:
    try:
        return None if text is None else int(text, 16)
    except ValueError:
        raise UserError(f"--module {text}: write the module's number in hexadecimal digits.") from None
