"""The command line: quick to show, every command with an example, every mistake one sentence."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import nightkeel
from firmware_sim.contract.errors import UserError

TOP = Path(__file__).resolve().parents[2]
BUILT = [name for name, row in nightkeel.COMMANDS.items() if nightkeel.is_built(row)]
DOCUMENTS = [TOP / "README.md", TOP / "DEVELOPERS.md", *sorted((TOP / "hardware_notes").glob("*.md"))]


def run(*words):
    """Run the command in its own process."""
    return subprocess.run(
        [sys.executable, "-m", "nightkeel", *words], cwd=TOP, capture_output=True, text=True, check=False
    )


def load(name):
    """Import one command."""
    command = nightkeel.cli.get_command(click.Context(nightkeel.cli), name)
    assert command is not None
    return command


@pytest.mark.parametrize("name", BUILT)
def test_help_has_an_example(name):
    shown = CliRunner().invoke(nightkeel.cli, [name, "--help"], prog_name="nightkeel")
    assert shown.exit_code == 0, shown.output
    assert "Example" in shown.output
    assert f"nightkeel {name}" in shown.output.split("Example")[-1]


def test_help_loads_no_package():
    """What is not loaded costs no time; the time itself is a figure of `make bench`."""
    assert run("--help").returncode == 0
    code = (
        "import sys, nightkeel\n"
        "try: nightkeel.main(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted({'numpy', 'numba', 'scipy', 'dash', 'sqlite3', 'serial', 'pandas'} & set(sys.modules)),"
        " file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=TOP, capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


KERNEL = (
    "from array import array; from firmware_sim import compiled, kernels; "
    "compiled.load('battery').battery_second(array('i', bytes(4 * kernels.battery.BATTERY_STATE)), 1, 1)"
)
# What is loaded, and what need not come along: each a tenth of a second up to a second at the start.
LIGHT = [
    ("import ingest.store.reader", "numba scipy pandas dash"),
    ("import ingest.cli.rehearse, ingest.rehearse", "numba scipy pandas dash"),
    ("import dashboard.serve", "numba scipy.signal scipy.stats scipy.optimize pandas matplotlib weasyprint"),
    (KERNEL, "scipy.linalg numba.np.arraymath"),
]


@pytest.mark.parametrize(("code", "heavy"), LIGHT)
def test_nothing_heavy_comes_along(code, heavy):
    """What was kept of the compiler's work loads without the compiler's own preparations."""
    said = f"import sys; {code}; print(sorted(set({heavy.split()}) & set(sys.modules)))"
    command = [sys.executable, "-c", said]
    for _ in range(2 if code == KERNEL else 1):  # the first run may compile
        done = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_command_that_is_not_built_is_not_shown(monkeypatch):
    row = nightkeel.Row("ingest.cli.not_there", "not_there", "Never seen.")
    monkeypatch.setitem(nightkeel.COMMANDS, "not-there", row)
    shown = CliRunner().invoke(nightkeel.cli, ["--help"])
    assert "not-there" not in shown.output
    assert CliRunner().invoke(nightkeel.cli, ["not-there"]).exit_code == 2


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["nonsense"], "nightkeel: No such command 'nonsense'."),
        (["docs", "--wrong"], "nightkeel: No such option '--wrong'."),
    ],
)
def test_a_mistake_is_one_sentence(words, sentence):
    done = run(*words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith(sentence)
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (UserError("night.db: no store;\nname another."), 2, "nightkeel: night.db: no store; name another."),
        (click.ClickException("The port is taken."), 2, "nightkeel: The port is taken."),
        (PermissionError(13, "Permission denied", "night.db"), 2, "nightkeel: night.db: Permission denied."),
        (OSError(28, "No space left on device"), 2, "nightkeel: The disk is full;"),
        (KeyboardInterrupt(), 130, ""),
        (click.Abort(), 130, ""),
    ],
)
def test_errors_become_sentences(monkeypatch, capsys, error, status, said):
    @click.command()
    def planted():
        raise error

    monkeypatch.setattr(nightkeel, "planted", planted, raising=False)
    monkeypatch.setitem(nightkeel.COMMANDS, "planted", nightkeel.Row("nightkeel", "planted", "Fail."))
    with pytest.raises(SystemExit) as left:
        nightkeel.main(["planted"])
    assert left.value.code == status
    shown = capsys.readouterr().err
    assert shown.startswith(said)
    assert len(shown.strip().splitlines()) == bool(said)


def test_our_own_bug_is_not_hidden(monkeypatch):
    @click.command()
    def planted():
        raise ZeroDivisionError

    monkeypatch.setattr(nightkeel, "planted", planted, raising=False)
    monkeypatch.setitem(nightkeel.COMMANDS, "planted", nightkeel.Row("nightkeel", "planted", "Fail."))
    with pytest.raises(ZeroDivisionError):
        nightkeel.main(["planted"])


def test_version_is_the_project_s():
    project = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["project"]
    assert nightkeel.__version__ == project["version"]


def shown_commands(text, word):
    """Yield what follows `word` in a document's shell blocks and inline code."""
    for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL):
        for line in block.replace("\\\n", " ").splitlines():
            if line.strip().startswith(word + " "):
                yield line.strip().removeprefix(word).split("#")[0].split()
    for code in re.findall(r"`([^`\n]+)`", text):
        if code.startswith(word + " "):
            yield code.removeprefix(word).split()


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name)
def test_documents_name_real_targets_and_commands(path):
    targets = set(re.findall(r"^([a-z]+):", (TOP / "Makefile").read_text("utf-8"), re.MULTILINE))
    text = path.read_text("utf-8")
    for words in shown_commands(text, "make"):
        assert [word for word in words if "=" not in word and word not in targets] == [], words
    for name, *words in shown_commands(text, "nightkeel"):
        if name.startswith("-"):
            continue
        options = {option for param in load(name).params for option in param.opts + param.secondary_opts}
        options |= nested_options(load(name), words)
        used = {word.split("=")[0] for word in words if word.startswith("-")}
        assert used - options - {"--help"} == set(), (name, words)


def nested_options(command, words):
    """Collect the options of the subcommands that the words name."""
    if not isinstance(command, click.Group):
        return set()
    inner = [command.commands[word] for word in words if word in command.commands]
    return {option for one in inner for param in one.params for option in param.opts + param.secondary_opts}


def test_the_document_check_reads_both_forms():
    text = "say `make demo` or\n```sh\nnightkeel night \\\n  --hours 2  # quick\n```\n"
    assert list(shown_commands(text, "make")) == [["demo"]]
    assert list(shown_commands(text, "nightkeel")) == [["night", "--hours", "2"]]


def test_generated_tables_are_up_to_date():
    assert nightkeel.rewrite_documents(write=False) == []
