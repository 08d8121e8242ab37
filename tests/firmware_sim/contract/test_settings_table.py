"""Settings: bounds, contradictions, presets, and limits drawn round a confirmed breath."""

import pytest

from firmware_sim.contract import alarms, channels, settings, values
from firmware_sim.contract.engine import compile_table, on_delay
from firmware_sim.kernels import alarms as k

ID = settings.ID_OF


def with_(**changes):
    """Return the adult set with changes in units; a double underscore stands for the dot."""
    out = settings.defaults()
    for name, value in changes.items():
        row = settings.SETTINGS[ID[name.replace("__", ".")]]
        out[row.id] = round(value * row.scale)
    return out


def test_both_presets_are_sound():
    assert settings.check(settings.defaults(channels.PRESET_ADULT)) is None
    assert settings.check(settings.defaults(channels.PRESET_CHILD)) is None


def test_there_is_no_infant_to_guess():
    with pytest.raises(ValueError, match="a site must supply"):
        settings.defaults(channels.PRESET_INFANT)
    with pytest.raises(ValueError, match="a site must supply"):
        settings.apply_preset(settings.defaults(), channels.PRESET_INFANT)


@pytest.mark.parametrize("row", settings.SETTINGS, ids=lambda row: row.name)
def test_hard_bounds(row):
    assert row.low <= row.adult <= row.high and row.low <= row.child <= row.high
    for value in (row.low - 1, row.high + 1):
        wanted = settings.defaults()
        wanted[row.id] = value
        reason, which, sentence = settings.check(wanted)
        assert (reason, which) == (settings.OUT_OF_BOUNDS, row.id)
        assert row.name in sentence and "must lie between" in sentence


def test_ids_fit_the_wire():
    assert settings.COUNT <= 255
    assert all(row.low > -(1 << 30) and row.high < 1 << 30 for row in settings.SETTINGS)
    assert len({row.name for row in settings.SETTINGS}) == settings.COUNT


@pytest.mark.parametrize(("changes", "reason", "words"), [
    ({"pressure__low": 30, "pressure__high": 30}, settings.CONTRADICTION, "low pressure limit must"),
    ({"pressure__disconnect": 12}, settings.CONTRADICTION, "must not lie above the low limit"),
    ({"end_expiratory__low": 10}, settings.CONTRADICTION, "end-expiratory low"),
    ({"rate__low": 30}, settings.CONTRADICTION, "low rate"),
    ({"oxygen__very_low": 82}, settings.CONTRADICTION, "purity very low"),
    ({"battery__very_short": 600}, settings.CONTRADICTION, "battery very short"),
    ({"supply__window_high": 136}, settings.CONTRADICTION, "dangerously high"),
    ({"supply__output_lost": 70, "supply__output_low": 70}, settings.CONTRADICTION, "output lost"),
    ({"supply__nominal_frequency": 55}, settings.OUT_OF_BOUNDS, "50 or 60 Hz"),
    ({"confirmed__peak": 20, "confirmed__end_expiratory": 8}, settings.CONTRADICTION, "3 cmH2O above"),
    ({"confirmed__peak": 9}, settings.CONTRADICTION, "below the confirmed peak"),
])
def test_contradictions_are_refused_with_a_reason(changes, reason, words):
    found = settings.check(with_(**changes))
    assert found[0] == reason
    assert words in found[2]


def test_limits_lie_within_the_sensors():
    """Every limit a person can set lies inside the range of the channel behind it."""
    reach = {"pressure": channels.PRESSURE, "end_expiratory": channels.PRESSURE, "oxygen": channels.OXYGEN,
             "rail": channels.RAIL}
    for row in alarms.ROWS:
        if row.kind in (k.ABOVE, k.BELOW) and str(row.limit).split(".")[0] in reach:
            channel = channels.CHANNELS[reach[row.limit.split(".")[0]]]
            setting = settings.SETTINGS[ID[row.limit]]
            if setting.unit == channel[2]:
                assert channel[6] * setting.scale < setting.low and setting.high < channel[7] * setting.scale
    # 800 V of the taps against the largest crest that can be asked for: 240 V x 160 % x 1.414 = 543 V.
    assert settings.check(with_(supply__nominal_voltage=240, supply__dangerous=160)) is None


def test_a_crest_beyond_the_taps_is_refused(monkeypatch):
    monkeypatch.setattr(settings, "CHANNELS", ((0, "supply_in", "V", 100, 0, 0, 0, 400.0, 1),))
    assert settings.check(settings.defaults())[0] == settings.BEYOND_SENSOR


@pytest.mark.parametrize(("peak", "peep", "rate"), [(20, 5, 12), (12, 3, 28), (30, 10, 20), (15, 0, 4)])
def test_limits_around_a_confirmed_breath(peak, peep, rate):
    """Disconnection: peak - 5, never under end-expiratory + 3; high: 10-15 above the peak (trade, texts)."""
    values_, refused = settings.confirm(settings.defaults(), peak * 100, peep * 100, rate * 100)
    assert refused is None
    limit = values_[ID["pressure.disconnect"]] / 100
    assert limit == max(peak - 5, peep + 3)
    assert 10 <= values_[ID["pressure.high"]] / 100 - peak <= 15
    assert values_[ID["rate.low"]] / 100 <= rate <= values_[ID["rate.high"]] / 100


@pytest.mark.parametrize(
    ("rate", "seconds"), [(0, 10), (30, 10), (12, 10), (7.8, 10), (6, 13), (4, 19.5), (3, 20)])
def test_the_disconnection_delay_follows_the_confirmed_rate(rate, seconds):
    """max(10 s, 1.3 cycles of the confirmed rate), 20 s at most (practice of the trade)."""
    row = alarms.ROWS[alarms.ID_OF["disconnected"]]
    assert on_delay(row, with_(confirmed__rate=rate)) == pytest.approx(seconds * 10, abs=0.5)


def test_a_childs_disconnection_is_found_in_10_s():
    row = alarms.ROWS[alarms.ID_OF["disconnected"]]
    assert on_delay(row, settings.defaults(channels.PRESET_CHILD)) == 100


def test_no_setting_lengthens_a_circuit_delay_beyond_its_hard_maximum():
    longest = [row.high for row in settings.SETTINGS]
    table = compile_table(longest)
    for row in alarms.ROWS:
        if row.delay_max is not None:
            assert table[k.T_SIZE + row.id * k.R_SIZE + k.R_ON] <= row.delay_max <= 300
    high = [row for row in alarms.ROWS if row.circuit and row.priority == k.HIGH]
    assert len(high) == 7 and all(row.delay_max is not None and row.delay_max <= 200 for row in high)
    # Stale rows wait by their limit instead: 20 s at most (teaching texts).
    assert settings.SETTINGS[ID["breath.no_breath"]].high == 200


def test_no_high_row_can_be_turned_off():
    """Hard bounds: whatever is set, every high row has a limit that can be crossed, and a mode."""
    for row in alarms.ROWS:
        if row.priority == k.HIGH:
            assert row.modes
            if isinstance(row.limit, str):
                setting = settings.SETTINGS[ID[row.limit]]
                assert setting.high > setting.low


def test_frequency_limits_follow_the_nominal():
    row = alarms.ROWS[alarms.ID_OF["frequency_low"]]
    at = k.T_SIZE + row.id * k.R_SIZE
    assert compile_table(settings.defaults())[at + k.R_LIMIT] == 47_500
    assert compile_table(with_(supply__nominal_frequency=60))[at + k.R_LIMIT] == 57_000


@pytest.mark.parametrize(("name", "value", "text"), [
    ("pressure.high", 3500, "35.00 cmH2O"), ("pressure.below_ambient", -1005, "-10.05 cmH2O"),
    ("module.mode", 1, "ventilator"), ("battery.short", 600, "600 s"), ("rail.low", 4500, "4.500 V"),
    ("supply.dips_hour", 6, "6")])
def test_values_in_words(name, value, text):
    assert settings.in_units(ID[name], value) == text


def test_setting_scales_equal_those_of_their_inputs():
    """The engine compares integers: a limit's scale must be its input's (but for frequency)."""
    for row in alarms.ROWS:
        if isinstance(row.limit, str) and not row.limit.startswith("frequency."):
            setting, value = settings.SETTINGS[ID[row.limit]], values.VALUES[row.value]
            assert setting.scale == value[3], row.name
            assert setting.unit == value[2], row.name
            if isinstance(row.deadband, str):
                band = settings.SETTINGS[ID[row.deadband]]
                assert (band.scale, band.unit) == (setting.scale, setting.unit), row.name
