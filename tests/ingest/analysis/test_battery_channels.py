"""Battery voltage and load where they are fitted: they shorten the bound by the test's own record, only."""

from types import SimpleNamespace as Row

import numpy as np
import pytest

from firmware_sim.contract import log_codes
from firmware_sim.contract.channels import STATE_NORMAL, STATE_STORED_ENERGY
from ingest.analysis.reserves.battery import DAY_MS, ProvenBound
from ingest.analysis.reserves.measured import shortened, trace_of

DAY = 20_000
TEST = DAY * DAY_MS + 3_600_000
NOW = TEST + 30 * DAY_MS
MINUTES = 20


class Store:
    """A test of 20 min from 13.2 V straight down to 10.8 V at 2 A, then mains again; and the last minute."""

    def __init__(self, volts=None, amperes=None, then=2.0, held=True):
        self.volts, self.amperes, self.then, self.held = volts, amperes, then, held

    def records(self, message_id, module, start, end):
        rows = [(TEST - 60_000, log_codes.BATTERY_TEST, 1), (TEST + 1, log_codes.BUTTON, 0),
                (TEST + MINUTES * 60_000 + 300_000, log_codes.BATTERY_TEST, 0)]  # fmt: skip
        rows = rows if self.held and start <= TEST < end else []
        names = {"code": 1, "first": 2}
        columns = {name: np.array([row[place] for row in rows]) for name, place in names.items()}

        class Found(Row):
            def __getitem__(self, name):
                return columns[name]

        return Found(t=np.array([row[0] for row in rows], np.int64))

    def bands(self, module, start, end, column):
        ended = TEST + MINUTES * 60_000
        return [Row(start=start, end=TEST, code=STATE_NORMAL),
                Row(start=TEST, end=ended, code=STATE_STORED_ENERGY),
                Row(start=ended, end=end, code=STATE_NORMAL)]  # fmt: skip

    def trends(self, module, start, end, quantities=None, pixels=None):
        t = np.arange(start, end, 1000)
        if start >= NOW - 100_000:
            volts = np.full(len(t), np.nan if self.volts is None else self.volts)
            amperes = np.full(len(t), np.nan if self.amperes is None else self.amperes)
        else:
            share = np.clip((t - TEST) / (MINUTES * 60_000), 0, 1)
            # Before and after the discharge the charger holds the battery at 13.8 V.
            inside = (t >= TEST) & (t < TEST + MINUTES * 60_000)
            volts = np.where(inside, 13.2 - 2.4 * share, 13.8)
            amperes = np.where(inside, self.then, 0.1)
        return Row(t=t, mean={"battery_voltage": volts, "ups_current": amperes})


def bound(minutes=18.0, **channels):
    on_battery = channels.pop("on_battery", True)
    before = ProvenBound(
        minutes_low=minutes, proven=True, test_age_days=30.0, recharge_fraction=0.9, ageing_fraction=1.0,
        load_factor=1.0, unknown=("battery.load_unknown",),
    )  # fmt: skip
    return shortened(
        before, Store(**channels), 1, proven_day=DAY, minutes=MINUTES, newest_ms=NOW, on_battery=on_battery
    )


def test_only_the_time_on_the_battery_counts_of_a_test():
    trace = trace_of(Store(), 1, DAY)
    assert len(trace.seconds) == MINUTES * 60
    assert (trace.volts.max(), trace.amperes.min()) == (pytest.approx(13.2), 2.0)


def test_a_heavier_load_shortens_by_the_worst_exponent_and_a_lighter_one_is_no_gain():
    # Peukert's rated form, exponent 1.6 the worst published: double the current gives 1/2^1.6 of the time.
    heavy = bound(amperes=4.0)
    assert heavy.minutes_low == pytest.approx(18 / 2**1.6)
    assert heavy.unknown == (), "the load is known now"
    assert bound(amperes=1.0).minutes_low == 18.0


@pytest.mark.parametrize(
    ("volts", "minutes"),
    # Down a straight line from 13.2 to 10.8 V in 20 min; the reading's 0.5 % and 30 s of smoothing go
    # against the bound.
    [(12.0, 10.0), (11.4, 5.0), (10.8, 0.0), (10.0, 0.0)],
)
def test_on_the_battery_it_promises_no_more_than_the_test_gave_at_this_voltage(volts, minutes):
    found = bound(volts=volts)
    assert minutes - 1.0 <= found.minutes_low <= minutes
    assert found.unknown[0] == "battery.by_voltage"


def test_a_high_voltage_proves_nothing_more():
    assert bound(volts=13.5).minutes_low == 18.0
    # On the mains the charger's voltage says nothing of the charge.
    assert bound(volts=11.0, on_battery=False).minutes_low == 18.0


def test_without_channels_or_without_the_record_of_the_test_nothing_changes():
    assert bound().unknown == ("battery.load_unknown",)
    assert bound(amperes=4.0, held=False).minutes_low == 18.0
    assert bound(amperes=4.0, then=np.nan).minutes_low == 18.0
    assert bound(minutes=0.0, amperes=4.0).minutes_low == 0.0
