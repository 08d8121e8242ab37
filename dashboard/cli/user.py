"""`nightkeel user`: who may view and operate the pages beyond this machine."""

from pathlib import Path
from typing import Any

import click

EPILOG = """\b
Examples:
  nightkeel user add --store night.db --role view ward
  nightkeel user list --store night.db
  nightkeel user unlock --store night.db ward"""

INNER = """\b
Example:
  nightkeel user {} --store night.db ward"""


@click.group(epilog=EPILOG)
def user() -> None:
    """Manage who may view and operate the pages beyond this machine.

    A passphrase is asked for, never given on the command line. Changes count at once, also in a server that
    runs; one that serves this machine only begins to ask for a sign-in when it is started again.
    """


def _file_options(command: Any) -> Any:
    store = click.option("--store", type=click.Path(path_type=Path), help="Store; its users lie beside it.")
    users = click.option("--users", type=click.Path(path_type=Path), help="File of users, elsewhere.")
    return store(users(command))


def _open(store: Path | None, users: Path | None) -> Any:
    from dashboard.users import Users, default_path
    from ingest.errors import UserError

    if users is None and store is None:
        raise UserError("Whose users? Name the store with --store, or the file of users with --users.")
    path = users or default_path(store or Path())
    if not path.absolute().parent.is_dir():
        raise UserError(f"{path.parent} is not there; name a file in a folder that is.")
    return Users(path)


def _ask_passphrase() -> str:
    answer: str = click.prompt("Passphrase", hide_input=True, confirmation_prompt=True, err=True)
    return answer


@user.command(epilog=INNER.format("add --role operate"))
@click.argument("name")
@click.option("--role", required=True, type=click.Choice(["view", "operate"]), help="What the person may do.")
@_file_options
def add(name: str, role: str, store: Path | None, users: Path | None) -> None:
    """Add a person; the passphrase is asked for twice."""
    from dashboard.users import make_account

    held = _open(store, users)
    held.check_new(name)
    held.put(name, make_account(role, _ask_passphrase()), new=True)
    click.echo(f"{name} may now {role}; {held.path}")


@user.command("list", epilog="\b\nExample:\n  nightkeel user list --store night.db")
@_file_options
def list_(store: Path | None, users: Path | None) -> None:
    """List names and roles."""
    held = _open(store, users)
    for name, account in held.accounts().items():
        click.echo(f"{name:<32}  {account.role}")


@user.command(epilog=INNER.format("remove"))
@click.argument("name")
@_file_options
def remove(name: str, store: Path | None, users: Path | None) -> None:
    """Remove a person; open sessions end at once."""
    held = _open(store, users)
    held.remove(name)
    click.echo(f"{name} is removed from {held.path}")


@user.command(epilog=INNER.format("passphrase"))
@click.argument("name")
@_file_options
def passphrase(name: str, store: Path | None, users: Path | None) -> None:
    """Change a passphrase; open sessions of the name end at once."""
    from dashboard.users import make_account

    held = _open(store, users)
    role = held.role_of(name)
    held.put(name, make_account(role, _ask_passphrase()), new=False)
    click.echo(f"{name} has a new passphrase; {held.path}")


@user.command(epilog=INNER.format("unlock"))
@click.argument("name")
@_file_options
def unlock(name: str, store: Path | None, users: Path | None) -> None:
    """End the lock-out of a name after too many wrong passphrases."""
    held = _open(store, users)
    held.unlock(name)
    click.echo(f"{name} is unlocked")
