"""The command `nightkeel`: the one module that knows all three packages.

Each command is a row of COMMANDS and is imported only when called, so that `--help` stays quick.
A command whose module is not built is not shown.
"""

import difflib
import errno
import importlib
import sys
from importlib.util import find_spec
from typing import TYPE_CHECKING, NamedTuple

import click

from firmware_sim.contract.errors import UserError

if TYPE_CHECKING:
    from collections.abc import Callable

    from firmware_sim.rig.drill.run import Report, RowResult

__version__ = "0.1.0"

EXIT_USER_ERROR = 2
# A year: longer nights are runs of their own.
HOURS_MAX = 24 * 366
EXIT_INTERRUPTED = 130


class Row(NamedTuple):
    """Say where a command lives and what it does in one line."""

    module: str
    attribute: str
    help: str


COMMANDS: dict[str, Row] = {
    # see and try
    "demo": Row("nightkeel", "demo", "Run an invented night, then watch it go on live in the browser."),
    "night": Row("nightkeel", "night", "Simulate a night in virtual time into a store."),
    "scenarios": Row("firmware_sim.cli.scenarios", "scenarios", "List the invented nights."),
    "doctor": Row("ingest.cli.doctor", "doctor", "Check the installation, a store, a port; say how to mend."),
    # run for real
    "board": Row("firmware_sim.cli.board", "board", "Run the emulated board behind a pty or a TCP port."),
    "ingest": Row("ingest.cli.ingest", "ingest", "Record what one or more modules send into a store."),
    "dashboard": Row("dashboard.cli.dashboard", "dashboard", "Serve the pages over a store."),
    "forward": Row("ingest.cli.forward", "forward", "Send stored records on to a time-series server."),
    "fleet": Row("ingest.cli.fleet", "fleet", "Play many nights in parallel; rates with intervals."),
    # alarms and settings
    "settings": Row("ingest.cli.settings", "settings", "Show, set, export, import, compare settings."),
    "drill": Row("nightkeel", "drill", "Prove every alarm row and write a certificate."),
    "rehearse": Row("ingest.cli.rehearse", "rehearse", "Run recorded nights again with other settings."),
    "sound": Row("firmware_sim.cli.sound", "sound", "Render an alarm sound to a file."),
    # the case
    "case": Row("ingest.cli.case", "case", "Start, end, list, show the cases of a module."),
    "site": Row("ingest.cli.site", "site", "Check a site's own first actions for alarms."),
    # study, handover, reserves
    "study": Row("dashboard.cli.study", "study", "Write a power-quality report with tables and figures."),
    "label": Row("dashboard.cli.label", "label", "Say what you know of a supply: site, cause, equipment."),
    "handover": Row("dashboard.cli.handover", "handover", "Write the one-page morning handover."),
    "check": Row("dashboard.cli.check", "check", "Go through the pre-use check or commissioning."),
    "clock": Row("dashboard.cli.clock", "clock", "Show the module's clock, or set it by hand."),
    "upkeep": Row("dashboard.cli.upkeep", "upkeep", "Keep the maintenance log; say what is due."),
    "reserve": Row("ingest.cli.reserve", "reserve", "Work out how long battery, cylinder and agent last."),
    # keep the record
    "export": Row("ingest.cli.export", "export", "Write a store as Parquet, CSV, EDF+, COMTRADE or FHIR."),
    "seal": Row("ingest.cli.seal", "seal", "Seal a case as one file with hashes; check a sealed one."),
    "import": Row("ingest.cli.import_", "import_", "Merge stores of several modules without doubles."),
    "backup": Row("ingest.cli.backup", "backup", "Copy a store while it is in use, and verify the copy."),
    "carry": Row("ingest.cli.carry", "carry", "Carry data out on a stick, copied and proven."),
    "verify": Row("ingest.cli.verify", "verify", "Check a store's integrity, gaps and counts."),
    "prune": Row("ingest.cli.prune", "prune", "Remove old records that were kept elsewhere."),
    "user": Row("dashboard.cli.user", "user", "Manage who may view and operate beyond this machine."),
    # onto metal
    "bundle": Row("firmware_sim.cli.bundle", "bundle", "Write the files to copy onto a real board."),
    "contract": Row("firmware_sim.cli.contract", "contract", "Show the contract; write it as C."),
    "calibrate": Row("ingest.cli.calibrate", "calibrate", "Calibrate a channel step by step."),
    "docs": Row("nightkeel", "docs", "Write the generated tables of the documents anew."),
}

DOC_MODULES = ("firmware_sim.docs", "firmware_sim.alarm_docs", "firmware_sim.hardware.docs", "ingest.docs",
               "dashboard.docs", "tests.simulation.promises", "tests.benchmarks.measured")
DOC_FILES = ("hardware_notes/*.md", "DEVELOPERS.md", "README.md")


def is_built(row: Row) -> bool:
    """Tell whether the command of this row exists, without importing it."""
    if row.module == "nightkeel":
        return row.attribute in globals()
    return find_spec(row.module) is not None


class LazyGroup(click.Group):
    """Load a command's module only when that command is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name the commands that are built, in the order of the table."""
        return [name for name, row in COMMANDS.items() if is_built(row)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command; None when there is none of that name."""
        row = COMMANDS.get(cmd_name)
        if row is None or not is_built(row):
            return None
        module = sys.modules[__name__] if row.module == "nightkeel" else importlib.import_module(row.module)
        command = getattr(module, row.attribute)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the command list from the table, importing nothing."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name].help) for name in self.list_commands(ctx)])


NIGHT_EPILOG = """\b
Examples:
  nightkeel night --scenario monsoon-night --hours 12 --store night.db
  nightkeel night --scenario circuit-apart --json"""


@click.command(epilog=NIGHT_EPILOG)
@click.option("--scenario", "name", default="monsoon-night", show_default=True,
              help="An invented night; `nightkeel scenarios` lists them.")  # fmt: skip
@click.option("--hours", type=float, help="Length; the scenario's own when left out.")
@click.option("--seed", type=int, help="Chance of the scenario; the same seed, the same night.")
@click.option("--store", type=click.Path(), help="File to write; NAME.db in this folder when left out.")
@click.option("--profile", default="large", show_default=True, help="small (264 kB) or large (8 MB) board.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object with the figures.")
def night(
    name: str, hours: float | None, seed: int | None, store: str | None, profile: str, as_json: bool
) -> None:
    """Simulate a night in virtual time into a new store, as fast as it goes (SIMULATED data).

    World, converter, firmware, frames, decoder, pipeline and durable commits are the real ones; only time is
    not waited for.
    """
    import json

    figures = simulate(name, hours, seed, store or f"{name}.db", profile, quiet=as_json)
    if as_json:
        click.echo(json.dumps(figures))
        return
    for key, value in figures.items():
        click.echo(f"{key:>16}  {value}")


def simulate(
    name: str,
    hours: float | None,
    seed: int | None,
    store: str,
    profile: str = "large",
    start_utc_ms: int | None = None,
    quiet: bool = False,
) -> dict[str, int | float | str]:
    """Play a scenario through board, link and ingest into a new store; return the figures.

    `hours` None: the scenario's length. `wall_s` runs from the first step to the last durable commit.
    """
    import time
    from pathlib import Path

    from firmware_sim import scenarios
    from firmware_sim.contract import STEP_MS
    from firmware_sim.rig.rig import ALONE_STEPS, Rig
    from ingest.inline import Inline
    from ingest.told_cases import write_told_cases

    scenario = scenarios.load(name)
    length_h = scenario.duration_s / 3600 if hours is None else hours
    if not 0 < length_h <= HOURS_MAX:
        raise UserError(f"--hours {length_h:g}: write a number above 0, at most {HOURS_MAX}.")
    if Path(store).exists():
        raise UserError(f"{store} is there already and stays as it is; name another file with --store.")
    rig = Rig(scenario, seed, profile=profile, start_utc_ms=start_utc_ms, ahead_steps=ALONE_STEPS)
    seconds = max(1, round(length_h * 3600))
    began = time.perf_counter()
    host = Inline(store, rig.start_utc_ms, site=scenario.name, bed="1")
    steps = 1000 // STEP_MS
    try:
        with progress_bar(seconds, f"{scenario.name}, {length_h:g} h", quiet) as bar:
            for second in range(seconds):
                rig.send(host.feed(rig.run(steps), (second + 1) * 1000, rig.host_ms()))
                if second % 60 == 59:
                    bar.update(60)
        host.close()
    finally:
        rig.stop()
    told = [(rig.start_utc_ms + round(one.t_s * 1000), one.action, str(one.params.get("label", "")))
            for one in scenario.events if one.action in ("start_case", "end_case")]  # fmt: skip
    write_told_cases(Path(store), told, rig.start_utc_ms + seconds * 1000)
    return figures_of(store, host.counters(), seconds, time.perf_counter() - began)


DEMO_EPILOG = """\b
Example:
  nightkeel demo --port 8050"""


@click.command(epilog=DEMO_EPILOG)
@click.option("--scenario", "name", default="monsoon-night", show_default=True, help="An invented night.")
@click.option("--port", default=8050, show_default=True, type=click.IntRange(1, 65535), help="Of the pages.")
@click.option("--folder", default="var", show_default=True, help="Where the demo's stores are kept.")
@click.option(
    "--runtime", default="cpython", show_default=True, help="cpython or micropython, for the live board."
)
def demo(name: str, port: int, folder: str, runtime: str) -> None:
    """Run an invented night, then watch it go on live in the browser (SIMULATED data).

    The night ends now: twelve hours at full speed into a new store, then the emulated board at real speed
    behind a pseudo-terminal, the ingest daemon on it, and the pages. Ctrl-C ends all of it.
    """
    import time
    from pathlib import Path

    if not port_is_free(port):
        raise UserError(f"Port {port} is taken; end what uses it, or name another with --port.")
    length_h = 12.0
    start_ms = round((time.time() - length_h * 3600) * 1000)
    Path(folder).mkdir(parents=True, exist_ok=True)
    store = f"{folder}/demo-{time.strftime('%Y%m%d-%H%M%S')}.db"
    figures = simulate(name, length_h, None, store, start_utc_ms=start_ms)
    click.echo(
        f"{figures['hours']} h in {figures['wall_s']} s, "
        f"{figures['times_real_time']} times real time: {store}"
    )
    tty = f"{store}.tty"
    elapsed_s = f"{time.time() - start_ms / 1000:.0f}"
    pages, end_ms = f"http://127.0.0.1:{port}", start_ms + round(length_h * 3_600_000)
    run_together(
        f"Live: open {pages}\n"
        f"The night: {pages}/night?from={start_ms}&to={end_ms}\n"
        "SIMULATED data. Ctrl-C ends it.",
        ["board", "--scenario", name, "--from", elapsed_s, "--now", "--pty-link", tty, "--runtime", runtime,
         "--control", f"{store}.rig", "--played", f"{store}.played.json"],
        ["ingest", "--link", tty, "--store", store, "--wait", "--quiet"],
        ["dashboard", "--store", store, "--port", str(port), "--rig", f"{store}.rig"],
    )


def port_is_free(port: int) -> bool:
    """Tell whether a TCP port of the loopback can be listened on."""
    import socket

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


def run_together(sentence: str, *commands: list[str]) -> None:
    """Run commands of this program side by side until Ctrl-C, SIGTERM or the end of one; then end all."""
    import signal
    import subprocess
    import time

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, interrupt)
    children: list[subprocess.Popen[bytes]] = []
    try:
        for command in commands:
            # A session of its own: Ctrl-C reaches this process alone, which ends the others in order.
            children.append(
                subprocess.Popen(
                    [sys.executable, __file__, *command], stdout=subprocess.DEVNULL, start_new_session=True
                )
            )
        click.echo(sentence)
        while all(child.poll() is None for child in children):
            time.sleep(0.2)
        raise UserError("A part of the demo ended by itself; what it said stands above.")
    finally:
        for child in reversed(children):
            child.terminate()
        for child in children:
            try:
                child.wait(timeout=10)
            except subprocess.TimeoutExpired:
                child.kill()


DRILL_EPILOG = """\b
Examples:
  nightkeel drill --out certificate
  nightkeel drill --row disconnected --row pressure_high --json
  nightkeel drill --link /dev/ttyACM0 --out bed-7"""


@click.command(epilog=DRILL_EPILOG)
@click.option("--row", "names", multiple=True, help="Drill only this row; repeatable.")
@click.option("--link", help="A real module's port: a person applies each stimulus.")
@click.option("--out", type=click.Path(), help="Write the certificate as OUT.html and OUT.pdf; "
              "drill-certificate when all rows are drilled and nothing else is said.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print one object with rows, passed, failed.")
@click.pass_context
def drill(
    ctx: click.Context, names: tuple[str, ...], link: str | None, out: str | None, as_json: bool
) -> None:
    """Prove every alarm row and write a certificate; exit status 1 if a row failed.

    Without --link each row is tried on the emulated board (SIMULATED): just inside, just outside, delay, lamp
    and sound, pause, a new alarm during it, latch, end, power cut.
    """
    import json
    from datetime import datetime
    from pathlib import Path

    from firmware_sim.contract import alarms
    from firmware_sim.rig.drill import certificate
    from firmware_sim.rig.drill.run import RowResult
    from firmware_sim.rig.drill.run import drill as run_drill

    unknown = [name for name in names if name not in alarms.ID_OF]
    if unknown:
        near = difflib.get_close_matches(unknown[0], alarms.ID_OF, 3, 0.4)
        hint = f"did you mean {' or '.join(near)}?" if near else "see the alarm table in hardware_notes."
        raise UserError(f"There is no alarm row '{unknown[0]}': {hint}")

    if out is None and not names and not as_json:
        out = "drill-certificate"
    if out:
        certificate.free(Path(out))

    def said(row: RowResult) -> None:
        delay = "" if row.measured_s is None else f"{row.measured_s:g} s of {row.allowed_s:g} s allowed"
        click.echo(f"{row.name:28}{row.result:10}{delay}", err=True)

    report = drill_by_hand(link, names, said) if link else run_drill(names or None, said)
    if out:
        when = datetime.now().astimezone().isoformat(" ", "minutes")
        for path in certificate.write(report, Path(out), when):
            click.echo(str(path), err=True)
    if as_json:
        click.echo(json.dumps(report.as_json()))
    else:
        click.echo(f"{report.passed} passed, {report.failed} failed of {len(report.rows)} rows.")
    ctx.exit(1 if report.failed else 0)


def drill_by_hand(link: str, names: tuple[str, ...], said: "Callable[[RowResult], None]") -> "Report":
    """Drill a real module on a port with a person at the bench."""
    import time

    from firmware_sim.contract import alarms
    from firmware_sim.rig.drill.by_hand import ByHand
    from ingest.link.port import Port, check_url

    port = Port(check_url(link, None))

    def ask(text: str) -> str:
        return str(click.prompt(text, default="", show_default=False, prompt_suffix="", err=True))

    try:
        rows = [row for row in alarms.ROWS if not names or row.name in names]
        return ByHand(port, ask, time.monotonic, time.sleep).run(rows, said)
    finally:
        port.close()


def figures_of(
    store: str, counters: dict[str, int], seconds: int, wall_s: float
) -> dict[str, int | float | str]:
    """Gather what `night --json` prints; lengths in h and s, sizes in bytes."""
    from pathlib import Path

    from ingest.store.content import content_digest, count

    return {
        "hours": round(seconds / 3600, 4),
        "wall_s": round(wall_s, 3),
        "times_real_time": round(seconds / wall_s, 1),
        "frames": counters["frames"],
        "link_bytes": counters["bytes"],
        "store_bytes": Path(store).stat().st_size,
        **count(store),
        "digest": content_digest(store),
    }


def progress_bar(length: int, label: str, quiet: bool) -> "click._termui_impl.ProgressBar[int]":
    """Return a progress bar on stderr, drawn only where a person looks."""
    return click.progressbar(
        length=length, label=label, file=sys.stderr, hidden=quiet or not sys.stderr.isatty(), width=30
    )


EPILOG = """\b
Examples:
  nightkeel demo
  nightkeel night --scenario monsoon-night --hours 12 --store night.db
  nightkeel doctor

A research and prototyping tool. Not a medical device, never the only or the primary alarm."""


@click.group(cls=LazyGroup, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="nightkeel")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Watch a bedside set-up's mains, oxygen source and breathing pressure through the night (emulated)."""
    # A fleet lives on the near side and may not know the board: it gets handed what plays a night.
    ctx.obj = simulate


@click.command(epilog="\b\nExample:\n  nightkeel docs --check")
@click.option("--check", is_flag=True, help="Write nothing; exit with status 1 if a table is out of date.")
def docs(check: bool) -> None:
    """Write the generated tables of the documents anew, each from its one source.

    Works in a checkout. A table stands between the lines `<!-- generated:NAME -->` and
    `<!-- end:NAME -->` of a document; NAME is a key of BLOCKS in a package's docs.py. Whole files, as
    drawings are, stand in its FILES.
    """
    stale = rewrite_documents(write=not check)
    for path in stale:
        click.echo(f"{path}: {'out of date' if check else 'written'}")
    if check and stale:
        click.echo("nightkeel docs: run `make docs` and commit the result.", err=True)
        sys.exit(1)


def write_commands() -> str:
    """Write the table of the commands that are built."""
    rows = [f"| `nightkeel {name}` | {row.help} |" for name, row in COMMANDS.items() if is_built(row)]
    return "\n".join(["| command | what it does |", "| --- | --- |", *rows])


def rewrite_documents(write: bool) -> list[str]:
    """Bring the generated blocks of all documents up to date; return the paths that differed.

    With write False nothing is written. Raise UserError for a block that nobody generates.
    """
    from pathlib import Path

    from firmware_sim.docs import rewrite

    top = Path(__file__).parent
    if str(top) not in sys.path:
        sys.path.insert(0, str(top))
    blocks, texts = {"commands": write_commands}, {}
    for name in DOC_MODULES:
        if find_spec(name) is not None:
            module = importlib.import_module(name)
            blocks.update(module.BLOCKS)
            texts.update({path: make() for path, make in getattr(module, "FILES", {}).items()})
    for path in sorted(path for pattern in DOC_FILES for path in top.glob(pattern)):
        name = str(path.relative_to(top))
        texts[name] = rewrite(path.read_text(encoding="utf-8"), blocks, name)
    stale = [name for name, text in texts.items()
             if not (top / name).exists() or (top / name).read_text(encoding="utf-8") != text]
    for name in stale if write else ():
        (top / name).write_text(texts[name], encoding="utf-8")
    return sorted(stale)


def explain(error: Exception) -> str | None:
    """Put an error that a person or their machine caused into one sentence; None for our own bugs."""
    from firmware_sim.contract.errors import UserError

    if isinstance(error, UserError):
        return str(error)
    if isinstance(error, click.UsageError) and error.ctx is not None:
        return f"{error.format_message()} See `{error.ctx.command_path} --help`."
    if isinstance(error, click.ClickException):
        return error.format_message()
    if isinstance(error, OSError) and error.filename is not None:
        return f"{error.filename}: {error.strerror}."
    if isinstance(error, OSError) and error.errno == errno.ENOSPC:
        return "The disk is full; free some space and start again, nothing acknowledged is lost."
    return None


def main(argv: list[str] | None = None) -> None:
    """Run the command line and exit.

    Exit status: 0 done, 1 a check failed, 2 a user error (one sentence on stderr), 130 interrupted.
    """
    try:
        status = cli.main(args=argv, prog_name="nightkeel", standalone_mode=False)
    except (KeyboardInterrupt, click.Abort):
        sys.exit(EXIT_INTERRUPTED)
    except Exception as error:
        sentence = explain(error)
        if sentence is None:
            raise
        click.echo(f"nightkeel: {' '.join(sentence.split())}", err=True)
        sys.exit(EXIT_USER_ERROR)
    sys.exit(status if isinstance(status, int) else 0)


if __name__ == "__main__":
    main()
