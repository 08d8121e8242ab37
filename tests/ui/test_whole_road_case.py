"""From the start of a case to its handover, in a browser, on two invented nights in virtual time."""

import re

import pytest
from click.testing import CliRunner

from dashboard.cli.handover import handover
from dashboard.settings import Settings
from firmware_sim import scenarios
from ingest.analysis.first_actions import first_actions
from ingest.cli.seal import seal
from ingest.store.reader import open_reader
from tests.support.live_pages import hurried, live_pages
from tests.ui.conftest import FITS, SMALL, press, served, until

pytestmark = pytest.mark.ui
MINUTE = 60
QUIET_S = 17 * MINUTE
SITE = """\
format = "nightkeel site 1"
approved_by = "invented ward board"
approved_on = 2026-01-31
[first_actions.output_lost]
en = ["Invented: bag by hand."]
"""


@pytest.fixture
def bed(request, tmp_path):
    store = tmp_path / "bed.db"
    with live_pages(hurried(scenarios.load(request.param), QUIET_S), store) as live:
        live.play(70)
        settings = Settings(store=store, port=0, clock=live.clock, actions=first_actions(SITE, "ward.toml"))
        with served(settings) as (address, _):
            yield live, address, store


def at_the_module(live):
    """Press a button on the module itself."""
    live.happen("person", "acknowledge")
    live.play(3)


def start_of(store):
    """Return the UTC ms at which the bed began."""
    with open_reader(store) as reader:
        return reader.boots(reader.modules()[0].id)[0].utc0


def number(page, selector, pattern):
    """Return the first number of a text on the page."""
    return int(re.search(pattern, page.locator(selector).inner_text())[1])


def begin_the_case(page, live):
    """Start case 1 with limits around the breath, first values and a reason."""
    page.get_by_text("No case is open").wait_for()
    page.fill("#reason-author", "AB")
    page.get_by_role("radio", name="Ventilator").check()
    page.get_by_role("radio", name="Adult").check()
    page.fill("#case-label", "cot 3")
    press(page, "Start the case")
    page.get_by_text("press the module's own button first. Nothing was changed.").wait_for()
    at_the_module(live)
    press(page, "Start the case")
    page.get_by_text("The module answers: done. Case 1 began.").wait_for()
    live.play(8)
    press(page, "Draw limits around the breath seen now")
    page.get_by_text("Limits of previous use: confirm: the module answers: done.").wait_for()
    page.fill("#entry-field-spo2", "97")
    page.fill("#entry-field-pulse", "88")
    press(page, "Enter")
    page.get_by_text("Entered: SpO2, Pulse.").wait_for()
    press(page, "Suction")
    page.get_by_text(re.compile(r"Suction, written down at \d\d:\d\d:\d\d")).wait_for()


def enter_the_reserves(page, address):
    """Say what carries the patient if the mains fails: 15 min of the last test, aged, not yet charged."""
    page.goto(address + "/reserves")
    page.fill("#reserves-field-author", "AB")
    page.get_by_role("radio", name="UK D").check()
    page.get_by_role("radio", name="bar").check()
    page.fill("#reserves-field-gauge", "137")
    press(page, "Enter cylinder")
    page.get_by_text("Entered.", exact=True).wait_for()
    page.fill("#reserves-field-oxygen", "2")
    page.fill("#reserves-field-volume", "5")
    page.fill("#reserves-field-bleed", "1")
    press(page, "Enter flows")
    page.locator("#reserves-words").get_by_text("Cylinder: at least 32 min").wait_for()


@pytest.mark.parametrize("bed", ["second-outage"], indirect=True)
def test_second_outage_from_case_to_sealed_file(visit, bed, tmp_path):
    live, address, store = bed
    page = visit(address + "/case")
    begin_the_case(page, live)
    enter_the_reserves(page, address)

    # The first outage empties the battery; the output is lost, the site's own first actions stand beside it.
    live.play(20.5 * MINUTE - (live.clock() - start_of(store)) / 1000)
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

    page.get_by_role("link", name="Night", exact=True).last.click()
    page.locator("#night-graph").get_by_text("SpO2, %, by hand").wait_for()
    assert page.locator("#night-graph").get_by_text("97", exact=True).count() >= 1
    page.goto(address + "/case")
    paper = page.context.request.get(address + page.get_by_role("link", name="Handover").first
                                     .get_attribute("href"))  # fmt: skip
    assert (paper.status, paper.headers["content-type"]) == (200, "application/pdf")

    out = tmp_path / "case.zip"
    said = CliRunner().invoke(seal, [str(store), "--case", "1", "--out", str(out)], catch_exceptions=False)
    total = said.output.split()[-1]
    told = CliRunner().invoke(seal, [str(out), "--check", "--hash", total], catch_exceptions=False).output
    assert "none changed since sealing. SIMULATED." in told
    assert b"cot 3" not in out.read_bytes() and b"hand_entries.csv" in out.read_bytes()


@pytest.mark.parametrize("bed", ["cylinder-takeover"], indirect=True)
def test_cylinder_takeover_from_case_to_handover(visit, bed, tmp_path):
    live, address, store = bed
    page = visit(address + "/case", "phone", "dim")
    page.context.add_cookies([{"name": "nk_lang", "value": "fr", "url": address}])
    page.reload()
    page.get_by_text("Aucune prise en charge ouverte").wait_for()
    page.fill("#reason-author", "AB")
    page.get_by_role("radio", name="Ventilateur").check()
    page.get_by_role("radio", name="Adulte").check()
    assert page.get_by_role("radio", name="Nourrisson").is_disabled(), "no site has supplied infant values"
    at_the_module(live)
    press(page, "Ouvrir la prise en charge")
    page.get_by_text("Le module répond : fait. La prise en charge 1 commence.").wait_for()
    assert page.evaluate(FITS)
    assert page.evaluate(SMALL) == []

    page.goto(address + "/reserves")
    page.fill("#reserves-field-author", "AB")
    page.get_by_role("radio", name="UK D").check()
    page.get_by_role("radio", name="bar").check()
    page.fill("#reserves-field-gauge", "137")
    press(page, "Saisir la bouteille")
    page.get_by_text("Saisi.", exact=True).wait_for()
    page.fill("#reserves-field-oxygen", "2")
    press(page, "Saisir les débits")
    lasts = r"Bouteille : au moins (\d+) min"
    until(page, lambda: number(page, "#reserves-words", lasts) > 100, "340 L at 2 L/min last over two hours")

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
    until(page, lambda: number(page, "#reserves-words", lasts) < 60, "the true rate counts")
    page.get_by_text("l'oxygène semble venir d'une bouteille").wait_for()
    # A litre a minute less of such a loss is worth a few minutes.
    assert number(page, "#reserves-words", r"(\d+) min de plus : moitié moins") < 10
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
