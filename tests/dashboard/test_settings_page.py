"""The Settings page: every setting in words, a change compared and checked before it is sent."""

import pytest

from dashboard import changing
from dashboard.changing import draft
from dashboard.pages import settings as page
from dashboard.queries import choose_module, reading
from ingest.errors import UserError
from ingest.store.reader import tables
from tests.dashboard.conftest import find, said, spoken
from tests.dashboard.test_texts import strangers

ADULT = "adult"
HIGHER = {"pressure.high": "36"}


@pytest.fixture
def in_force(settings):
    with reading(settings.store) as reader:
        module = choose_module(reader, None)
        return module.id, reader.settings_history(module.id)[-1]


def base(in_force):
    module, found = in_force
    return {"module": module, "version": found.version, "digest": found.digest}


def test_every_setting_is_shown_once_with_unit_bounds_and_source(settings, view):
    shown = page.page(settings, view, "")
    text = said(shown)
    for name in tables.SETTINGS:
        if not name.startswith("module."):
            assert page.label(name, view) in text, name
    assert "High pressure limit cmH2O 10 to 80 cmH2O · 10-15 above the peak or fixed 35" in text
    fields = [one.id["setting"] for one in find(shown, lambda c: isinstance(getattr(c, "id", None), dict))]
    assert len(fields) == len(set(fields)) > 70
    labels = {page.label(name, view) for name in tables.SETTINGS}
    assert len(labels) == len(tables.SETTINGS)


def test_settings_say_nothing_of_their_own(settings, marked, in_force):
    assert len(list(spoken(page.page(settings, marked, "")))) > 200
    assert strangers(spoken(page.page(settings, marked, ""))) == []
    for wanted in (
        draft(in_force[1].values, ADULT, {"pressure.high": "x", "rate.low": "99", "pressure.low": "60"}),
        draft(in_force[1].values, "child", {}),
        draft(in_force[1].values, "infant", {}),
    ):
        assert strangers(spoken(page.review(wanted, marked))) == []


def test_without_a_daemon_the_page_says_that_nothing_can_be_sent(settings, view, in_force):
    assert "No daemon records into this store, so nothing can be sent." in said(page.page(settings, view, ""))
    told, stored = page.sending(
        settings, view, base(in_force), ADULT, {"pressure.high": "34"}, "A. B.", "why"
    )
    assert told.startswith("Not sent: No daemon answers")
    assert stored is None


def test_a_change_shows_old_and_new(view, in_force):
    wanted = draft(in_force[1].values, ADULT, {"pressure.high": "32,5", "rate.high": "30"})
    assert wanted.may_be_sent
    assert said(page.review(wanted, view)) == "High pressure limit: 35 → 32.5 cmH2O"


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"pressure.high": "90"}, "High pressure limit must lie between 10 and 80 cmH2O."),
        (
            {"pressure.high": "much"},
            "High pressure limit: ‘much’ is no value here; write a number in steps",
        ),
        ({"pressure.high": ""}, "High pressure limit: ‘’ is no value here"),
        (
            {"alarm.pause": "60.05"},
            "‘60.05’ is no value here; write a number in steps of 0.1 s",
        ),
        ({"pressure.low": "40"}, "Low peak pressure limit must lie below: High pressure limit."),
        ({"supply.nominal_frequency": "55"}, "Nominal frequency is 50 or 60 Hz."),
        ({"alarm.pause": "121"}, "Sound is paused for must lie between 30 and 120 s."),
    ],
)
def test_what_the_module_would_refuse_is_refused_here_with_the_reason(view, in_force, typed, sentence):
    wanted = draft(in_force[1].values, ADULT, typed)
    assert not wanted.may_be_sent
    assert sentence in said(page.review(wanted, view))


def test_a_preset_is_compared_whole_and_sent_by_itself(view, in_force):
    child = draft(in_force[1].values, "child", {})
    assert child.may_be_sent
    assert "Preset: Adult → Child" in said(page.review(child, view))
    assert "High pressure limit: 35 → 30 cmH2O" in said(page.review(child, view))
    both = draft(in_force[1].values, "child", {"pressure.high": "34"})
    assert not both.may_be_sent
    assert "A preset is sent by itself" in said(page.review(both, view))


def test_infant_is_refused_unless_a_site_supplied_it(view, in_force):
    wanted = draft(in_force[1].values, "infant", {})
    assert not wanted.may_be_sent
    assert "No site has supplied infant limits" in said(page.review(wanted, view))
    values = list(in_force[1].values)
    values[changing.PRESET] = tables.PRESETS.index("infant")
    supplied = draft(tuple(values), "infant", {"rate.high": "31"})
    assert supplied.may_be_sent


def test_what_the_module_keeps_itself_is_not_set_from_a_page(in_force):
    kept = {name: "7" for name in tables.SETTINGS if changing.is_kept(name)}
    assert len(kept) > 20
    assert draft(in_force[1].values, ADULT, kept | {"no.such": "1"}) == changing.Draft()


def test_what_no_test_has_measured_is_missing_and_not_zero(settings, view):
    rows = tables.SETTINGS
    assert page._kept(rows["discharge.load"], 0, view) == "Load in the last test: —"
    assert page._kept(rows["discharge.load"], 152, view) == "Load in the last test: 1.52 A"
    assert page._kept(rows["discharge.volts_6"], 4695, view) == "Battery in the last test, half-way: 46.95 V"


def test_nothing_goes_without_initials_and_a_reason(settings, view, in_force):
    for who, why in (("", "why"), ("A. B.", " ")):
        told, _ = page.sending(settings, view, base(in_force), ADULT, HIGHER, who, why)
        assert told == "Write initials and a reason; both stay in the store."


def test_fields_of_an_older_version_are_not_sent(settings, view, in_force):
    old = base(in_force) | {"version": in_force[1].version - 1}
    told, _ = page.sending(settings, view, old, ADULT, HIGHER, "A. B.", "why")
    assert told.startswith("The module's settings changed meanwhile.")


def test_who_may_only_view_sends_nothing_and_a_name_is_kept(settings, view, in_force, monkeypatch):
    sent = []
    monkeypatch.setattr(page, "send", lambda *given: sent.append(given))

    def refuse(_):
        raise UserError("You may only look.")

    monkeypatch.setattr(page, "signed", refuse)
    told, _ = page.sending(settings, view, base(in_force), ADULT, HIGHER, "A. B.", "why")
    assert told == "Not sent: You may only look."
    assert sent == []
    monkeypatch.setattr(page, "signed", lambda author: f"{author} (ward)")
    told, _ = page.sending(settings, view, base(in_force), ADULT, HIGHER, " A. B. ", "why")
    assert told.startswith("The module has not answered.")
    assert sent[0][4:] == ("A. B. (ward)", "why")
