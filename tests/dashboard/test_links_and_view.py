"""Addresses and cookies are told by the browser: whatever they say, the page stays whole."""

from hypothesis import given
from hypothesis import strategies as st

from dashboard.links import WINDOW_MS_MIN, Place, address, around, parse
from dashboard.settings import Settings
from dashboard.view import WIDTH_MAX, WIDTH_MIN, view_of

WHOLE = st.integers(min_value=0, max_value=10**14 - 1)


@given(
    module=st.none() | st.integers(min_value=0, max_value=2**32 - 1),
    night=st.none() | WHOLE,
    window=st.none() | st.tuples(st.integers(0, 10**13), st.integers(WINDOW_MS_MIN, 10**9)),
)
def test_an_address_comes_back_as_it_was(module, night, window):
    place = Place(
        module=module, night=night, window=None if window is None else (window[0], window[0] + window[1])
    )
    path, _, query = address("/night", place).partition("?")
    assert path == "/night"
    assert parse(query) == place


@given(st.text(max_size=300))
def test_any_query_is_read(text):
    place = parse(text)
    assert place.window is None or place.window[1] - place.window[0] >= WINDOW_MS_MIN


def test_windows_that_make_no_sense_are_left_out():
    for query in ("5&to=5", "9&to=1", "1", "-1&to=9999", "1e3&to=1e9", "٣&to=9999"):
        assert parse(f"from={query}").window is None
    assert parse("module=zz").module is None
    assert parse("module=123456789").module is None


def test_the_window_round_an_event_holds_it_whole():
    for start, end in ((10**12, 10**12 + 28_000), (10**12, None), (10**12, 10**12)):
        low, high = around(start, end, 10**12 + 500_000)
        assert low < start
        assert high > (10**12 + 500_000 if end is None else end)


COOKIE = st.sampled_from(["nk_lang", "nk_zone", "nk_theme", "nk_width", "other"])


@given(st.dictionaries(COOKIE, st.text(max_size=40)))
def test_any_cookies_give_a_view(cookies):
    view = view_of(cookies, Settings(store="x", clock=lambda: 0))
    assert view.theme in ("paper", "dim")
    assert WIDTH_MIN <= view.width <= WIDTH_MAX


def test_cookies_are_used_and_a_given_zone_wins():
    cookies = {"nk_zone": "Africa/Nairobi", "nk_theme": "dim", "nk_width": "360"}
    view = view_of(cookies, Settings(store="x"))
    assert (view.zone.key, view.theme, view.phone) == ("Africa/Nairobi", "dim", True)
    assert view_of(cookies, Settings(store="x", zone="UTC")).zone.key == "UTC"
    for odd in ("../../etc/passwd", "Europe", "", "\x00"):
        assert view_of({"nk_zone": odd}, Settings(store="x")).zone.key == "UTC"
