"""From commissioning to handover on one store, in a browser, on two invented nights in virtual time.

The bed plays as fast as it goes whenever the test says so, and quiet stretches are left out. The first outage
of `second-outage` is the discharge test: about 16 of its 18 min are carried.
"""

import re

import pytest
from click.testing import CliRunner

from dashboard.cli.handover import handover
from dashboard.settings import Settings
from firmware_sim import scenarios
from ingest.analysis.first_actions import first_actions
from ingest.cli.seal import seal
from ingest.store.reader import open_reader, tables
from tests.support.live_pages import hurried, live_pages
from tests.ui.conftest import FITS, SMALL, in_sight, press, served, until

pytestmark = pytest.mark.ui
MINUTE = 60
# Scenario: (from when on, how much earlier everything comes), s.
QUIET = {
    "second-outage": ((10 * MINUTE, 14 * MINUTE), (30 * MINUTE, 16 * MINUTE)),
    "cylinder-takeover": ((10 * MINUTE, 14 * MINUTE),),
}
SITE = """\
format = "nightkeel site 1"
approved_by = "invented ward board"
approved_on = 2026-01-31
[first_actions.output_lost]
en = ["Invented: bag by hand."]
"""
LASTS = r"Bouteille : au moins (\d+) min"


@pytest.fixture
def bed(request, tmp_path):
    store, scenario = tmp_path / "bed.db", scenarios.load(request.param)
    for after_s, earlier_s in QUIET[request.param]:
        scenario = hurried(scenario, earlier_s, after_s)
    with live_pages(scenario, store) as live:
        live.play(100)
        settings = Settings(store=store, port=0, clock=live.clock, actions=first_actions(SITE, "ward.toml"))
        with served(settings) as (address, _):
            yield live, address, store


def play_to(live, store, minute):
    """Play on until so many minutes after the bed began."""
    with open_reader(store) as reader:
        start = reader.boots(reader.modules()[0].id)[0].utc0
    left = minute * MINUTE - (live.clock() - start) / 1000
    assert left > 0, "the steps before took longer than the quiet stretch"
    live.play(left)


def step(page, live, name, list_name, seconds):
    """Begin a step, let time pass, write its result down; return the step's line."""
    section = page.locator(".check-list", has=page.get_by_role("heading", name=list_name))
    press(page, re.compile(rf"^(Begin|Again): {name}, {list_name}$"))
    section.locator(".open-step", has_text=name).wait_for()
    live.play(seconds)
    press(page, "Write the result down")
    line = section.locator(".step", has_text=name)
    line.get_by_text(re.compile("passed|failed")).wait_for()
    return line.inner_text()


def confirmed(page, name):
    """Confirm a step that only a person can see."""
    press(page, f"Begin: {name}, Pre-use check")
    press(page, "Yes, it was right")
    page.locator(".step-passed", has_text=name).wait_for()


def at_the_module(live):
    """Press a button on the module itself."""
    live.happen("person", "acknowledge")
    live.play(3)


def number(page, pattern):
    """Return the first number of a text among the words of the reserves."""
    return int(re.search(pattern, page.locator("#reserves-words").inner_text())[1])


def commission(page, live, store, address):
    """Go through the steps; the first outage is the discharge test. Return the minutes it proved."""
    page.fill("#setup-who", "AB")
    assert re.search(r"22\d\.\d V", step(page, live, "Supply present", "Pre-use check", 15))
    assert "proven by the waveforms" in step(page, live, "UPS out of bypass", "Pre-use check", 15)
    assert re.search(r"95\.\d %", step(page, live, "Purity reached", "Pre-use check", 40))
    confirmed(page, "Torch at the bed")
    # A patient breathes on this circuit.
    press(page, "Begin: Circuit tight, Pre-use check")
    page.get_by_text("A breath was seen in the last 60 s").wait_for()
    assert re.search(r"-?−?\d\.\d °", step(page, live, "Taps in phase", "Commissioning", 10))
    press(page, "Begin: Discharge test, Commissioning")
    page.get_by_text("confirm that a second source stands ready").wait_for()
    press(page, "A second source stands ready and is tried")
    page.get_by_role("button", pressed=True, name="A second source stands ready").wait_for()
    press(page, "Begin: Discharge test, Commissioning")
    page.locator(".open-step", has_text="Discharge test").wait_for()
    play_to(live, store, 8)
    page.get_by_text("not yet: on the battery").wait_for()
    # The page is closed and opened again: nothing was kept in it.
    page.goto(address + "/")
    play_to(live, store, 25)
    page.get_by_role("link", name="What to check first").click()
    page.get_by_role("heading", name="Set-up").wait_for()
    page.locator(".first summary", has_text="UPS in bypass").wait_for()
    page.locator(".first", has_text="it comes back so after it ran empty").wait_for()
    page.locator(".first", has_text=re.compile("before that . min dead")).wait_for()
    press(page, "Write the result down")
    line = page.locator(".step-passed", has_text="Discharge test")
    line.wait_for()
    return int(re.search(r"(\d+) min", line.inner_text())[1])


def begin_the_case(page, live):
    """Start case 1 with limits around the breath, first values and a reason; correct its label."""
    page.get_by_text("No case is open").wait_for()
    page.fill("#reason-author", "AB")
    page.get_by_role("radio", name="Ventilator").check()
    page.get_by_role("radio", name="Adult").check()
    page.fill("#case-label", "cot 2")
    press(page, "Start the case")
    page.get_by_text("press the module's own button first. Nothing was changed.").wait_for()
    at_the_module(live)
    press(page, "Start the case")
    page.get_by_text("The module answers: done. Case 1 began.").wait_for()
    page.get_by_text("Called cot 2", exact=True).wait_for()
    page.fill("#case-number", "1")
    page.fill("#case-new-label", "cot 3")
    press(page, "Correct the label")
    said = page.get_by_text("Case 1 is called cot 3 now.")
    said.wait_for()
    assert in_sight(page, said), "the form stands far below it"
    page.get_by_text("Called cot 3", exact=True).wait_for()
    page.locator(".marks summary", has_text="Called before").press("Enter")
    page.get_by_text(re.compile(r"cot 2, until .* changed by AB")).wait_for()
    live.play(8)
    press(page, "Draw limits around the breath seen now")
    page.get_by_text("Limits of previous use: confirm: the module answers: done.").wait_for()
    page.fill("#entry-field-spo2", "97")
    page.fill("#entry-field-pulse", "88")
    press(page, "Enter")
    page.get_by_text("Entered: SpO2, Pulse.").wait_for()
    press(page, "Suction")
    page.get_by_text(re.compile(r"Suction, written down at \d\d:\d\d:\d\d")).wait_for()


def enter_the_cylinder(page, enter, entered):
    """Enter size and gauge of the cylinder at the bed."""
    page.fill("#reserves-field-author", "AB")
    page.get_by_role("radio", name="UK D").check()
    page.get_by_role("radio", name="bar").check()
    page.fill("#reserves-field-gauge", "137")
    press(page, enter)
    page.get_by_text(entered, exact=True).wait_for()


@pytest.mark.parametrize("bed", ["second-outage"], indirect=True)
def test_second_outage_from_commissioning_to_handover(visit, bed, tmp_path):
    live, address, store = bed
    page = visit(address + "/setup")
    minutes = commission(page, live, store, address)
    assert 14 <= minutes <= 17
    live.play(5)
    with open_reader(store) as reader:
        found = reader.settings_at(reader.modules()[0].id, live.clock())
    # What the page wrote down is what the module counted for itself, and what the reserves use.
    assert abs(tables.setting_value(found.values, "battery.proven_minutes") - minutes) <= 1
    sheet = page.context.request.get(address + page.get_by_role("link", name="Sheet to print").last
                                     .get_attribute("href")).text()  # fmt: skip
    assert "SIMULATED" in sheet
    assert f"{minutes} min" in sheet
    assert "Discharge test due again on 2026-08-" in sheet

    page.goto(address + "/case")
    begin_the_case(page, live)
    page.goto(address + "/reserves")
    enter_the_cylinder(page, "Enter cylinder", "Entered.")
    page.fill("#reserves-field-oxygen", "2")
    page.fill("#reserves-field-volume", "5")
    page.fill("#reserves-field-bleed", "1")
    press(page, "Enter flows")
    page.locator("#reserves-words").get_by_text("Cylinder: at least 32 min").wait_for()
    # The UPS came back in bypass after the test: the proven minutes are not behind the output.
    assert number(page, r"Battery: at least (\d+) min") == 0
    page.locator("#reserves-words").get_by_text("bypassed: it does not stand behind the output").wait_for()

    # So the second outage takes the output at once; the site's own first actions stand beside it.
    play_to(live, store, 33.5)
    page.goto(address + "/")
    page.locator(".what").get_by_text("Output lost", exact=True).wait_for()
    page.get_by_text("Invented: bag by hand.").wait_for()
    page.get_by_text("Approved by invented ward board, 2026-01-31").wait_for()
    page.get_by_text("Case 1, open since").wait_for()
    press(page, "Moved")
    page.get_by_text(re.compile("Moved, written down at")).wait_for()

    page.goto(address + "/case")
    page.fill("#entry-field-spo2", "91")
    press(page, "Enter")
    page.get_by_text("Entered: SpO2.").wait_for()
    live.play(40)
    at_the_module(live)
    press(page, "End the case")
    page.get_by_text("Case 1 has ended; standby.").wait_for()
    page.get_by_text("No case is open").wait_for()
    handed_over(page, address, store, tmp_path)


def handed_over(page, address, store, folder):
    """Look at the case on Night, at its handover, and seal it."""
    page.get_by_role("link", name="Night", exact=True).last.click()
    page.locator("#night-graph").get_by_text("SpO2, %, by hand").wait_for()
    assert page.locator("#night-graph").get_by_text("97", exact=True).count() >= 1
    page.goto(address + "/case")
    paper = page.context.request.get(address + page.get_by_role("link", name="Handover").first
                                     .get_attribute("href"))  # fmt: skip
    assert (paper.status, paper.headers["content-type"]) == (200, "application/pdf")
    out = folder / "case.zip"
    said = CliRunner().invoke(seal, [str(store), "--case", "1", "--out", str(out)], catch_exceptions=False)
    total = said.output.split()[-1]
    told = CliRunner().invoke(seal, [str(out), "--check", "--hash", total], catch_exceptions=False).output
    assert "none changed since sealing. SIMULATED." in told
    sealed = out.read_bytes()
    assert b"hand_entries.csv" in sealed
    assert b"cot 3" not in sealed and b"cot 2" not in sealed


def set_up(page, live):
    """Measure the purity, write maintenance down, set the clock by hand and from the browser."""
    page.fill("#setup-who", "AB")
    assert re.search(r"93\.\d %", step(page, live, "Purity reached", "Pre-use check", 40))
    page.get_by_role("radio", name="Filter").check()
    page.get_by_role("radio", name="cleaned").check()
    press(page, "Write it down")
    page.get_by_text("Filter cleaned").wait_for()
    page.get_by_text("Filter: due on 2026-02-2").wait_for()
    page.get_by_role("radio", name="Concentrator").check()
    page.get_by_role("radio", name="hours read").check()
    page.fill("#upkeep-hours", "4120")
    press(page, "Write it down")
    page.get_by_text("Concentrator's counter: 4120 to 4121 h now.").wait_for()
    page.fill("#clock-typed", "2026-02-15 25:00")
    press(page, "Set the clock")
    page.get_by_text("That is no date and time").wait_for()
    page.fill("#clock-typed", "2026-02-15 23:30")
    press(page, "Set the clock")
    page.get_by_text("the module answers: done").wait_for()
    page.get_by_text(re.compile(r"Last set at .* to 2026-02-15 23:30")).wait_for()
    press(page, "Set from this browser")
    page.get_by_text(re.compile(r"Last set at .* from 2026-02-15 23:30 to")).wait_for()


def now_a_cylinder(page, live, address):
    """See on Set-up and on Now what gas it is."""
    page.context.add_cookies([{"name": "nk_lang", "value": "en", "url": address}])
    page.goto(address + "/setup")
    press(page, "Again: Purity reached, Pre-use check")
    page.locator(".open-step", has_text="Purity reached").wait_for()
    live.play(40)
    page.get_by_text("this is probably cylinder oxygen").wait_for()
    press(page, "Leave this step")
    page.reload()
    page.locator(".first summary", has_text="Probably cylinder").click()
    page.locator(".first", has_text="A cylinder feeds the circuit").wait_for()
    assert page.evaluate(FITS)
    assert page.evaluate(SMALL) == []
    page.goto(address + "/")
    page.get_by_text("Upkeep: Filter: due on").wait_for()
    page.context.add_cookies([{"name": "nk_lang", "value": "fr", "url": address}])


@pytest.mark.parametrize("bed", ["cylinder-takeover"], indirect=True)
def test_cylinder_takeover_from_commissioning_to_handover(visit, bed, tmp_path):
    live, address, store = bed
    page = visit(address + "/setup", "phone", "dim")
    set_up(page, live)
    page.context.add_cookies([{"name": "nk_lang", "value": "fr", "url": address}])
    page.goto(address + "/case")
    page.get_by_text("Aucune prise en charge ouverte").wait_for()
    page.fill("#reason-author", "AB")
    page.get_by_role("radio", name="Ventilateur").check()
    page.get_by_role("radio", name="Adulte").check()
    assert page.get_by_role("radio", name="Nourrisson").is_disabled(), "no site has supplied infant values"
    at_the_module(live)
    press(page, "Ouvrir la prise en charge")
    page.get_by_text("Le module répond : fait. La prise en charge 1 commence.").wait_for()
    page.get_by_role("button", name="Corriger le nom").wait_for()
    assert page.evaluate(FITS)
    assert page.evaluate(SMALL) == []
    page.goto(address + "/reserves")
    enter_the_cylinder(page, "Saisir la bouteille", "Saisi.")
    page.fill("#reserves-field-oxygen", "2")
    press(page, "Saisir les débits")
    until(page, lambda: number(page, LASTS) > 100, "340 L at 2 L/min last over two hours")

    # The concentrator stops; the cylinder gives 2 L/min and drives the bellows with 6 more.
    live.play(8 * MINUTE)
    page.goto(address + "/case")
    with open_reader(store) as reader:
        assert reader.latest(reader.modules()[0].id).readings["oxygen"] > 98.5
    page.get_by_role("radio", name="bar").check()
    page.fill("#entry-field-gauge", "4000")
    press(page, "Saisir")
    page.get_by_text("manomètre de la bouteille : 4000 bar est hors de 0 à 300 bar").wait_for()
    page.fill("#entry-field-gauge", "116")
    press(page, "Saisir")
    page.get_by_text("Saisi : Manomètre.").wait_for()

    # Two timed readings say what it really loses: not three hours, about half of one.
    page.goto(address + "/reserves")
    until(page, lambda: number(page, LASTS) < 60, "the true rate counts")
    page.get_by_text("l'oxygène semble venir d'une bouteille").wait_for()
    # A litre a minute less of such a loss is worth a few minutes.
    assert number(page, r"(\d+) min de plus : moitié moins") < 10
    now_a_cylinder(page, live, address)
    page.goto(address + "/case")
    at_the_module(live)
    press(page, "Clore la prise en charge")
    page.get_by_text("La prise en charge 1 est close ; attente.").wait_for()

    words = [str(store), "--case", "1", "--lang", "fr", "--out", str(tmp_path)]
    CliRunner().invoke(handover, words, catch_exceptions=False)
    html = (tmp_path / "handover-case-1.html").read_text("utf-8")
    assert "Transmission, prise en charge 1" in html
    assert "SIMULÉ" in html.upper()
    assert re.search(r"Débit d&#39;oxygène 2[.,]0 L/min à ", html) and "Manomètre 116 bar à " in html
    assert "nuits" not in html, "the nights before were other patients'"
