"""`nightkeel settings` against the real firmware: what is refused changes nothing, what is done is booked."""

import json
import tomllib

import pytest
from click.testing import CliRunner

from firmware_sim import scenarios
from firmware_sim.contract import settings as s
from firmware_sim.rig.rig import Rig
from ingest import change_settings
from ingest.cli.settings import settings
from ingest.errors import UserError
from ingest.inline import Inline
from ingest.pipeline import Now
from ingest.requests import Requests
from ingest.store.reader import open_reader


class Live:
    """A module and its daemon's rooms in one process; the module lives on while a client waits."""

    def __init__(self, store):
        self.rig = Rig(scenarios.load("quiet-night"))
        self.host = Inline(store, self.rig.start_utc_ms, commit_ms=1)
        self.second = 0
        self.requests = Requests(self.host.host, lambda: Now(self.second * 1000, self.rig.host_ms()))

    def play(self, seconds):
        for _ in range(seconds):
            self.second += 1
            self.rig.send(self.host.feed(self.rig.run(10), self.second * 1000, self.rig.host_ms()))

    def client(self, store):
        live = self

        class Client:
            def command(self, module, command, body, *, operator, reason, from_page=False):
                asked = {"do": "command", "module": module, "command": command, "body": body.hex()}
                answer = live.requests({**asked, "operator": operator, "reason": reason})
                live.rig.send(live.host.link.take())
                return answer["id"]

            def answered(self, row, wait_s):
                live.play(2)
                return live.requests({"do": "answer", "id": row})["answer"]

        return Client()


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    return tmp_path_factory.mktemp("settings") / "night.db"


@pytest.fixture(scope="module")
def live(store):
    module = Live(store)
    module.play(15)
    yield module
    module.host.close()
    module.rig.stop()


@pytest.fixture
def run(store, live, monkeypatch):
    monkeypatch.setattr(change_settings, "Client", live.client)

    def call(command, *words):
        line = [command, "--store", str(store), *map(str, words)]
        return CliRunner().invoke(settings, line, catch_exceptions=False).output

    return call


WHO = ("--operator", "A. B.", "--reason", "ward rules")


def in_force(store):
    return change_settings.in_force(store, None)[1].values


def test_show(run):
    report = json.loads(run("show", "--group", "oxygen", "--json"))
    assert report["settings"]["oxygen.low"] == {"value": 82.0, "unit": "%"}
    assert "60.00 % to 95.00 %" in run("show", "--group", "oxygen")
    with pytest.raises(UserError, match="there are module, pressure"):
        run("show", "--group", "air")


def test_a_change_is_obeyed_confirmed_and_booked(run, store):
    said = run("set", "oxygen.low=80 %", "oxygen.delay=12", *WHO)
    assert "oxygen.low: 82.00 % -> 80.00 %" in said
    assert said.endswith("The module confirmed the change.\n")
    assert in_force(store)[s.ID_OF["oxygen.low"]] == 8000
    assert in_force(store)[s.ID_OF["oxygen.delay"]] == 120
    with open_reader(store) as reader:
        booked = reader.host_commands(reader.modules()[0].id)[-1]
    assert (booked.operator, booked.reason, booked.result) == ("A. B.", "ward rules", 0)
    assert booked.answered is not None


def test_a_mode_has_its_own_command(run, store):
    run("set", "module.mode=hand", *WHO)
    assert in_force(store)[s.ID_OF["module.mode"]] == 2
    run("set", "module.mode=ventilator", *WHO)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["oxygen.lwo=80"], "did you mean oxygen.low"),
        (["oxygen.low=80 mbar"], "is set in %, not in 'mbar'"),
        (["oxygen.low=lots"], "needs a number in %"),
        (["oxygen.low=200"], "must lie between 60.00 % and 95.00 %, not 200.00 %"),
        (["oxygen.low=70", "oxygen.very_low=70"], "purity very low must lie below purity low"),
        (["pressure.low=34.5"], "the low pressure limit must lie below the high one"),
        (["pressure.high=1e3"], "is set in cmH2O"),
        (["pressure.high=nan"], "needs a number"),
        (["oxygen.low=81", "oxygen.low=82"], "given twice"),
        (["module.preset=infant"], "no infant values"),
        (["module.mode=hand", "oxygen.low=81"], "changed by itself"),
        (["module.mode=bellows"], "one of standby, ventilator, hand, spontaneous"),
        (["module.unconfirmed=0"], "confirmed at the module|nothing was sent"),
        (["oxygen.low"], "write NAME=VALUE"),
    ],
)
def test_what_is_refused_changes_nothing(run, store, words, said):
    before = in_force(store)
    with pytest.raises(UserError, match=said):
        run("set", *words, *WHO)
    assert in_force(store) == before


def test_who_and_why_are_needed(run):
    assert "Missing option" in run("set", "oxygen.low=81")
    with pytest.raises(UserError, match="who and why"):
        run("set", "oxygen.low=81", "--operator", " ", "--reason", "x")


def test_the_module_has_the_last_word(run, store, live):
    """The firmware refuses on its own what this program let through: here a set that changed meanwhile."""
    number = live.host.link.pipeline.hello.module
    body = change_settings.commands.pack(1, (), [(s.ID_OF["oxygen.low"], 100)])
    before = in_force(store)
    with pytest.raises(UserError, match=r"The module refused: oxygen\.low must lie between"):
        change_settings.send(store, number, (1, bytes(body)), "A. B.", "test")
    assert in_force(store) == before


@pytest.mark.parametrize("ending", ["json", "toml"])
def test_a_site_file_comes_back_as_it_went(run, store, tmp_path, ending):
    path = tmp_path / f"ward.{ending}"
    run("export", path)
    assert run("diff", path) == "No difference.\n"
    run("set", "rate.high=33", *WHO)
    assert run("diff", path) == "rate.high: in force 33.00 /min, file 30.00 /min\n"
    assert json.loads(run("diff", path, "--json"))["differ"]["rate.high"]["other"] == "30.00 /min"
    assert "rate.high: 33.00 /min -> 30.00 /min" in run("import", path, *WHO)
    assert run("diff", path) == "No difference.\n"
    with pytest.raises(UserError, match="is there already"):
        run("export", path)
    if ending == "toml":
        text = path.read_text()
        names = tomllib.loads(text)["settings"]
        assert not [name for name in names if name.startswith(("calibration", "module", "confirmed"))]


def test_an_infant_preset_comes_from_the_site_whole_or_not_at_all(run, store, tmp_path):
    before = in_force(store)
    numbers = {s.SETTINGS[one].name: s.in_units(one, s.SETTINGS[one].child) for one in s.PATIENT_IDS
               if not s.SETTINGS[one].name.startswith("confirmed")}  # fmt: skip
    path = tmp_path / "infant.json"
    lacking = {name: text for name, text in numbers.items() if name != "rate.high"}
    path.write_text(json.dumps({"format": "nightkeel settings 1", "infant": lacking}))
    with pytest.raises(UserError, match=r"lacks rate\.high; nobody guesses"):
        run("import", path, "--infant", *WHO)
    assert in_force(store) == before
    path.write_text(json.dumps({"format": "nightkeel settings 1", "infant": {**numbers, "rate.high": 60}}))
    assert "module.preset: adult -> infant" in run("import", path, "--infant", *WHO)
    assert in_force(store)[s.ID_OF["rate.high"]] == 6000
    assert "module.preset: infant -> adult" in run("set", "module.preset=adult", *WHO)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "is not JSON"),
        ("[]", "not a settings file"),
        ("{}", "is no settings file"),
        ('{"format": "nightkeel settings 1"}', "holds no settings"),
        ('{"format": "nightkeel settings 1", "settings": {"oxygen.lo": 80}}', "did you mean oxygen.low"),
        ('{"format": "nightkeel settings 1", "settings": {"oxygen.low": "a lot"}}', "needs a number in %"),
        ('{"format": "nightkeel settings 1", "settings": {"oxygen.low": null}}', "needs a number in %"),
        ('{"format": "nightkeel settings 1", "settings": {"oxygen.low": "80 V"}}', "not in 'V'"),
        ('{"format": "nightkeel settings 1", "settings": {"oxygen.low": 8}}', "must lie between"),
        ('{"format": "nightkeel settings 1", "settings": {"calibration.rail_gain": 1}}', "to one module"),
        ('{"format": "nightkeel settings 1", "more": 1, "settings": {"oxygen.low": 80}}', "not known"),
    ],
)
def test_a_bad_file_changes_nothing(run, store, tmp_path, text, said):
    path = tmp_path / "ward.json"
    path.write_text(text)
    before = in_force(store)
    with pytest.raises(UserError, match=said):
        run("import", path, *WHO)
    assert in_force(store) == before


def test_without_a_daemon_nothing_is_sent(store, live):
    line = ["set", "--store", str(store), "oxygen.low=81", *WHO]
    with pytest.raises(UserError, match="No daemon answers"):
        CliRunner().invoke(settings, line, catch_exceptions=False)


@pytest.mark.parametrize(("line", "sentence"), [
    ('"pressure.high" = "95 cmH2O"', r"can't be put in force: pressure\.high must lie between 10\.00"),
    ('"pressure.low" = "50 cmH2O"', r"can't be put in force: .*must lie below the high one")])
def test_a_comparison_says_when_a_file_can_not_be_put_in_force(run, tmp_path, line, sentence):
    path = tmp_path / "ward.toml"
    path.write_text(f'format = "nightkeel settings 1"\n\n[settings]\n{line}\n')
    with pytest.raises(UserError, match=sentence):
        run("diff", path)
