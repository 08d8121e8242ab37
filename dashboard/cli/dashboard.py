"""`nightkeel dashboard`: serve the pages over a store."""

from pathlib import Path

import click

EPILOG = """\b
Examples:
  nightkeel dashboard --store night.db
  nightkeel dashboard --store night.db --port 8051 --zone Africa/Nairobi"""

THREADS = 8


@click.command(epilog=EPILOG)
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store file to show.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8050, show_default=True, type=click.IntRange(1, 65535), help="Port.")
@click.option("--zone", help="Time zone of shown times, e.g. Asia/Kolkata; default: the browser's own.")
def dashboard(store: Path, host: str, port: int, zone: str | None) -> None:
    """Serve the pages over a store until interrupted. The store is only read.

    Listens on this machine only. A research and prototyping tool, never the only or the primary alarm.
    """
    from dashboard.serve import listen
    from dashboard.settings import Settings

    server = listen(Settings(store=store, host=host, port=port, zone=zone), threads=THREADS)
    click.echo(f"The pages are on http://{host}:{port} (Ctrl-C ends them).")
    server.run()
