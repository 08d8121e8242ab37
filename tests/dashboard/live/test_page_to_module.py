"""From a page to the module and back, all as processes: board, recording daemon, pages.

A page may silence only after a press of the module's own button, and never a circuit that is apart (practice
of the trade); a change of settings is the module's to confirm, and who, why and when stay in the store.

It lasts about 20 s: the press of the button, and a condition that follows it, come by the scenario's clock.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from firmware_sim.contract import commands
from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, at, warm
from firmware_sim.world.scenario import Scenario, to_json
from ingest.control_client import Client
from ingest.store.reader import open_reader, tables
from tests.support.bed import Bed

TOP = Path(__file__).resolve().parents[3]
PATIENCE_S = 90
SPEED = 4
PRESS_S, APART_S = 48, 50
LANGUAGES = {"en": "", "fr": "nk_lang=fr"}


@contextmanager
def command(*words):
    """Run a command of ours until the test ends; it must not have ended, nor end badly, by itself."""
    process = subprocess.Popen(
        [sys.executable, str(TOP / "nightkeel.py"), *map(str, words)],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=TOP,
    )  # fmt: skip
    try:
        yield process
        process.send_signal(signal.SIGTERM)
        said, _ = process.communicate(timeout=PATIENCE_S)
        assert process.returncode in (0, -signal.SIGTERM), said
    finally:
        if process.poll() is None:
            process.kill()
            process.communicate()


def until(found, what):
    """Return the first true answer; fail when none comes."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        answer = found()
        if answer:
            return answer
        time.sleep(0.1)
    pytest.fail(f"waited in vain for {what}")


class Pages:
    """Press what a browser would press."""

    def __init__(self, address, store):
        self.address, self.store = address, store

    def up(self):
        try:
            return urllib.request.urlopen(self.address, timeout=5).status == 200
        except OSError:
            return False

    def post(self, outputs, triggered, inputs, state, cookie=""):
        """Return the answer of one callback as text."""
        named = [dict(zip(("id", "property"), one.rsplit(".", 1), strict=True)) for one in outputs]
        body = {
            "output": outputs[0] if len(outputs) == 1 else f"..{'...'.join(outputs)}..",
            "outputs": named[0] if len(outputs) == 1 else named,
            "inputs": inputs, "state": state, "changedPropIds": [triggered],
        }  # fmt: skip
        asked = urllib.request.Request(
            f"{self.address}_dash-update-component", json.dumps(body).encode(),
            {"Content-Type": "application/json", "Cookie": cookie},
        )  # fmt: skip
        return json.loads(urllib.request.urlopen(asked, timeout=30).read())["response"]

    def control(self, name, language="en"):
        """Press a control of Now; return what the page says."""
        pressed = {"do": name, "kind": "now-control"}
        inputs = [[{"id": pressed, "property": "n_clicks", "value": 1}]]
        state = [{"id": "url", "property": "search", "value": ""}]
        triggered = json.dumps(pressed, separators=(",", ":")) + ".n_clicks"
        said = self.post(["now-answer.children"], triggered, inputs, state, LANGUAGES[language])
        return said["now-answer"]["children"]

    def fault(self, name, who):
        """Press a fault of Bench; return what the page says."""
        pressed = {"fault": name, "kind": "bench-fault"}
        inputs = [[{"id": pressed, "property": "n_clicks", "value": 1}]]
        state = [{"id": "bench-who", "property": "value", "value": who},
                 {"id": "url", "property": "search", "value": ""}]  # fmt: skip
        triggered = json.dumps(pressed, separators=(",", ":")) + ".n_clicks"
        return self.post(["bench-said.children"], triggered, inputs, state)["bench-said"]["children"]

    def change(self, name, value, who, why):
        """Send one changed setting; return what the page says."""
        module, found = in_force(self.store)
        base = {"module": module, "version": found.version, "digest": found.digest}
        field = {"kind": "settings-field", "setting": tables.SETTINGS[name].id}
        values = {
            "settings-preset.value": tables.PRESETS[found.values[tables.SETTINGS["module.preset"].id]],
            "settings-base.data": base, "settings-who.value": who, "settings-why.value": why,
        }  # fmt: skip
        state = [[{"id": field, "property": "value", "value": value}]]
        for name_of, one in values.items():
            of, kind = name_of.split(".")
            state.append({"id": of, "property": kind, "value": one})
        outputs = ["settings-answer.children", "settings-form.children", "settings-history.children"]
        inputs = [{"id": "settings-send", "property": "n_clicks", "value": 1}]
        return self.post(outputs, "settings-send.n_clicks", inputs, state)


def in_force(store):
    """Return the only module and the settings that it reported last."""
    with open_reader(store) as reader:
        module = reader.modules()[0].id
        history = reader.settings_history(module)
    return module, history[-1] if history else None


def standing(store, name):
    """Return the newest standing alarm of a row, None when it doesn't stand."""
    with open_reader(store) as reader:
        modules = reader.modules()
        latest = reader.latest(modules[0].id) if modules else None
    found = [] if latest is None else latest.standing
    return next((one for one in found if tables.ALARMS[one.row].name == name), None)


def button_open(store):
    """Tell whether the module's last trend says that its button was pressed."""
    with open_reader(store) as reader:
        latest = reader.latest(reader.modules()[0].id)
    return bool(latest and latest.codes["flags"] & tables.TREND_FLAGS["button_open"])


@pytest.fixture(scope="module")
def bed(tmp_path_factory):
    """Yield pages and store of a bed: mains fails, somebody presses 'pause', the circuit comes apart."""
    folder = tmp_path_factory.mktemp("live")
    Bed("cpython").play(1)  # the cache of compiled code is filled before any clock runs
    scenario = Scenario(
        name="pressed", title="Pressed", description="Invented: no mains, a press, circuit apart.",
        duration_s=3600, settings={"patient": ADULT, "ventilator": BELLOWS_ADULT}, initial=warm(),
        events=(
            at(3, "mains", "interruption", duration_s=3000.0),
            at(PRESS_S, "person", "pause"),
            at(APART_S, "circuit", "disconnect", duration_s=3000.0),
        ),
    )  # fmt: skip
    (folder / "pressed.json").write_text(to_json(scenario), "utf-8")
    store, tty = folder / "night.db", folder / "bed"
    port = 20_000 + os.getpid() % 20_000
    with ExitStack() as stack:
        stack.enter_context(command("ingest", "--link", tty, "--store", store, "--wait", "--commit-ms", 200))
        until(Client(store).running, "the daemon")
        stack.enter_context(command("dashboard", "--store", store, "--port", port, "--rig", folder / "rig"))
        pages = Pages(f"http://127.0.0.1:{port}/", store)
        until(pages.up, "the pages")
        stack.enter_context(
            command(
                "board", "--scenario", folder / "pressed.json", "--pty-link", tty, "--speed", SPEED, "--now",
                "--control", folder / "rig", "--played", folder / "played.json",
            )
        )
        until(lambda: standing(store, "stored_energy"), "the alarm 'on battery'")
        yield pages, store


def test_a_page_commands_only_what_the_module_allows(bed):
    pages, store = bed
    # Nobody has pressed anything yet.
    assert not button_open(store)
    assert "press the module's own button first" in pages.control("pause_audio")
    assert "appuyez d'abord sur la touche du module" in pages.control("acknowledge", "fr")
    assert standing(store, "stored_energy").acknowledged is None

    # Settings need no press, but who and why, and the module's word.
    module, before = in_force(store)
    assert (
        "Write initials and a reason"
        in pages.change("pressure.high", "37", "", "")["settings-answer"]["children"]
    )
    answer = pages.change("pressure.high", "37.5", "A. B.", "high peaks")
    _, after = in_force(store)
    said = answer["settings-answer"]["children"]
    assert re.fullmatch(rf"The module confirms: done. Version {after.version} of its settings .*", said)
    assert after.version != before.version
    assert tables.setting_value(after.values, "pressure.high") == 37.5
    assert "by A. B.: high peaks. done." in json.dumps(answer["settings-history"], ensure_ascii=False)
    with open_reader(store) as reader:
        sent = reader.host_commands(module)[-1]
    assert (sent.command, sent.operator, sent.reason) == (commands.SET_SETTINGS, "A. B.", "high peaks")
    assert sent.from_page and tables.COMMAND_RESULTS[sent.result] == "done"
    assert abs(sent.utc - time.time() * 1000) < PATIENCE_S * 1000 and sent.answered >= sent.utc

    # The button is pressed at the module.
    until(lambda: button_open(store), "the press")
    assert pages.control("acknowledge") == "Acknowledge: the module answers: done."
    until(lambda: standing(store, "stored_energy").acknowledged is not None, "the acknowledgement")

    # Still within 60 s of it, the circuit comes apart: no page silences that.
    until(lambda: standing(store, "disconnected"), "the alarm 'circuit apart'")
    assert button_open(store)
    assert pages.control("acknowledge") == "Acknowledge: the module answers: not from a page."
    assert pages.control("pause_audio") == "Pause sound: the module answers: not from a page."
    assert standing(store, "disconnected").acknowledged is None


def test_a_fault_from_the_bench_reaches_the_bed_and_is_written_down(bed):
    pages, store = bed
    assert "Write your initials" in pages.fault("oxygen_open", "")
    assert "Playing: Open the oxygen sensor" in pages.fault("oxygen_open", "A. B.")
    until(lambda: standing(store, "oxygen_sensor_fault"), "the alarm 'oxygen sensor fault'")
    with open_reader(store) as reader:
        marks = reader.marks(reader.modules()[0].id, kind="fault_played")
    assert [(one.author, one.text) for one in marks] == [("A. B.", "oxygen_open")]
    # The file holds the night as it was told, and the fault.
    played = json.loads((store.parent / "played.json").read_text("utf-8"))
    assert [one["action"] for one in played["events"]].count("sensor") == 1
    assert len(played["events"]) == 4
