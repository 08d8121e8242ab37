"""`nightkeel dashboard`: serve the pages over a store."""

from pathlib import Path

import click

EPILOG = """\b
Examples:
  nightkeel dashboard --store night.db
  nightkeel dashboard --store night.db --port 8051 --zone Africa/Nairobi
  nightkeel dashboard --store night.db --site ward.toml
  nightkeel dashboard --store bed.db --rig bed.rig
  nightkeel dashboard --store night.db --host 0.0.0.0 --cert ward.pem --key ward.key"""

THREADS = 8


@click.command(epilog=EPILOG)
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store file to show.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8050, show_default=True, type=click.IntRange(1, 65535), help="Port.")
@click.option("--zone", help="Time zone of shown times, e.g. Asia/Kolkata; default: the browser's own.")
@click.option("--users", type=click.Path(path_type=Path), help="File of users; default: beside the store.")
@click.option("--name", "names", multiple=True, help="Host name by which browsers reach it; may be repeated.")
@click.option("--cert", type=click.Path(path_type=Path), help="Certificate (PEM) to serve over TLS.")
@click.option("--site", type=click.Path(path_type=Path), help="The site's first actions; `nightkeel site`.")
@click.option("--key", type=click.Path(path_type=Path), help="Private key (PEM) of the certificate.")
@click.option("--rig", type=click.Path(path_type=Path), help="Emulated board's --control: fault buttons.")
def dashboard(
    store: Path,
    host: str,
    port: int,
    zone: str | None,
    users: Path | None,
    names: tuple[str, ...],
    cert: Path | None,
    key: Path | None,
    site: Path | None,
    rig: Path | None,
) -> None:
    """Serve the pages over a store until interrupted. The store is only read.

    Listens on this machine only. Beyond it, and wherever there are users, everybody must sign in; see
    `nightkeel user`. A research and prototyping tool, never the only or the primary alarm.
    """
    from dashboard.security import is_loopback
    from dashboard.serve import listen
    from dashboard.settings import Settings
    from ingest.analysis.first_actions import first_actions

    settings = Settings(
        store=store, host=host, port=port, zone=zone, users=users, names=names, cert=cert, key=key,
        rig=rig,
        actions=None if site is None else first_actions(site.read_text("utf-8", "replace"), str(site)),
    )  # fmt: skip
    server = listen(settings, threads=THREADS)
    if cert is None and not is_loopback(host):
        click.echo("Without --cert and --key, passphrases cross the network readable for others.", err=True)
    scheme = "http" if cert is None else "https"
    click.echo(f"The pages are on {scheme}://{host}:{port} (Ctrl-C ends them).")
    server.run()
