"""Judge the steps of the supply: taps, UPS, input opened, bypass, discharge."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from firmware_sim.contract import SUPPLY_RATE_HZ
from firmware_sim.contract.channels import CAPTURE_KINDS, UPS_CLASSES
from ingest.analysis.guided.sight import FAILED, PASSED, WAITING, Sight, Verdict

STEADY_S: Final = 10
PHASE_DEG_MAX: Final = 30.0  # phases of one supply lie 120° apart (definition); the room: house rule
BYPASS_MS: Final = 60_000  # recognised within 60 s: practice of the trade
CARRIED_S: Final = 60  # an output that lived so long lived on stored energy: house rule
SETTLED_MS: Final = 3_000
ASKED: Final = CAPTURE_KINDS.index("asked")


def supply_present(sight: Sight) -> Verdict:
    """Pass while the mains lies inside the UPS's window and the output is up for 10 s; figure: mains, V."""
    mains, output = sight.newest("supply_in", STEADY_S), sight.newest("supply_out", STEADY_S)
    if mains is None or output is None:
        return Verdict(state=WAITING, key="guided.no_reading")
    low, high = sight.volts("supply.window_low"), sight.volts("supply.window_high")
    shown = {"low": round(low), "high": round(high), "output": round(float(output.mean()), 1)}
    good = mains.min() >= low and mains.max() <= high and output.min() >= sight.volts("supply.output_low")
    key = "guided.supply_good" if good else "guided.supply_bad"
    state = PASSED if good else WAITING
    return Verdict(state=state, key=key, params=shown, value=float(mains.mean()), unit="V")


def out_of_bypass(sight: Sight) -> Verdict:
    """Pass once the module has proven that the battery stands behind the output; never on equal voltages."""
    states = sight.states()
    if not states:
        return Verdict(state=WAITING, key="guided.no_reading")
    begun, _, now = states[-1]
    if now == "normal":
        return Verdict(state=PASSED, key="guided.normal_proven", value=(begun - sight.start) / 1000.0,
                       unit="s", digits=0)  # fmt: skip
    return Verdict(state=WAITING, key=f"guided.state_{now}")


def taps_in_phase(sight: Sight) -> Verdict:
    """Compare the fundamentals of both taps in a waveform taken since; figure: angle, degrees."""
    found = sight.store.captures(sight.module, sight.start - 1000, sight.end + 1, ASKED)
    pairs: dict[int, dict[int, Any]] = {}
    for one in found:
        pairs.setdefault(one.capture_id, {})[one.tap] = one
    whole = [pair for pair in pairs.values() if len(pair) == 2 and all(one.complete for one in pair.values())]
    if not whole:
        return Verdict(state=WAITING, key="guided.no_waveform")
    pair = whole[-1]
    frequency = sight.newest("frequency_in", 2)
    hertz = sight.setting("supply.nominal_frequency") if frequency is None else float(frequency.mean())
    low = sight.volts("supply.interrupted")
    before, after = (_fundamental(pair[tap].volts, hertz) for tap in (0, 1))
    if min(abs(before), abs(after)) < low:
        return Verdict(state=FAILED, key="guided.tap_dead")
    angle = float(np.degrees(np.angle(after / before)))
    good = abs(angle) <= PHASE_DEG_MAX
    return Verdict(state=PASSED if good else FAILED, key="guided.in_phase" if good else "guided.out_of_phase",
                   params={"limit": round(PHASE_DEG_MAX)}, value=angle, unit="°")  # fmt: skip


def _fundamental(volts: Any, hertz: float) -> complex:
    """Return the rms phasor of the fundamental over whole periods (definition of the Fourier series)."""
    count = int(int(len(volts) * hertz / SUPPLY_RATE_HZ) * SUPPLY_RATE_HZ / hertz)
    if count <= 0:
        return 0j
    turn = np.exp(-2j * np.pi * hertz / SUPPLY_RATE_HZ * np.arange(count))
    return complex(np.sqrt(2.0) * np.mean(np.asarray(volts)[:count] * turn))


def class_and_window(sight: Sight) -> Verdict:
    """Show class and window as set against what is measured; a person compares them with the type plate."""
    mains, hertz = sight.newest("supply_in", STEADY_S), sight.newest("frequency_in", STEADY_S)
    if mains is None or hertz is None:
        return Verdict(state=WAITING, key="guided.no_reading")
    low, high = sight.volts("supply.window_low"), sight.volts("supply.window_high")
    nominal, nominal_hz = sight.setting("supply.nominal_voltage"), sight.setting("supply.nominal_frequency")
    shown = {
        "ups": UPS_CLASSES[round(sight.setting("supply.ups_class"))], "low": round(low), "high": round(high),
        "nominal": round(nominal), "hertz": round(nominal_hz),
    }  # fmt: skip
    # A 120 V plant under a 230 V setting, or 50 for 60 Hz, is outside by far.
    good = low <= mains.mean() <= high and abs(hertz.mean() - nominal_hz) < 5.0
    return Verdict(state=PASSED if good else WAITING, params=shown, value=float(mains.mean()), unit="V",
                   key="guided.window_fits" if good else "guided.window_contradicts")  # fmt: skip


def input_opened(sight: Sight) -> Verdict:
    """Watch which tap falls when the supply ahead of the taps is opened, and how long the output lives.

    Figure: seconds that the output lived. Both taps dead: no ride-through. Output dead beside a live input:
    the taps are swapped.
    """
    found = sight.seconds("supply_in", "supply_out")
    mains, output = found.maximum["supply_in"], found.minimum["supply_out"]
    limit, low = sight.volts("supply.interrupted"), sight.volts("supply.output_low")
    opened, dead = mains < limit, found.maximum["supply_out"] < limit
    if (dead & (mains > 2 * limit)).sum() >= 2:
        return Verdict(state=FAILED, key="guided.taps_swapped")
    if (opened & dead).sum() >= 2:
        return Verdict(state=FAILED, key="guided.not_carried", value=float((opened & ~dead).sum()), unit="s",
                       digits=0)  # fmt: skip
    lived = opened & (found.mean["supply_out"] >= low)
    seconds = int(lived.sum())
    if seconds < CARRIED_S:
        key = "guided.open_on" if seconds else "guided.open_it"
        return Verdict(state=WAITING, key=key, params={"least": CARRIED_S}, value=float(seconds), unit="s",
                       digits=0)  # fmt: skip
    lowest = round(float(np.nanmin(output[lived])), 1)
    return Verdict(state=PASSED, key="guided.carried", params={"lowest": lowest}, value=float(seconds),
                   unit="s", digits=0)  # fmt: skip


def bypass_seen(sight: Sight) -> Verdict:
    """Wait for the module to call the bypass by its name; figure: seconds from the beginning."""
    for begun, _, name in sight.states():
        if name == "bypass":
            delay = max(begun - sight.start, 0)
            return Verdict(state=PASSED if delay <= BYPASS_MS else FAILED, key="guided.bypass_named",
                           value=delay / 1000.0, unit="s", at_ms=begun)  # fmt: skip
    return Verdict(state=WAITING, key="guided.bypass_awaited")


def discharge(sight: Sight) -> Verdict:
    """Count the minutes on stored energy until they end; figure: whole minutes, rounded down."""
    states = sight.states()
    stored = [(begun, end) for begun, end, name in states if name == "stored_energy"]
    minutes = int(sum(end - begun for begun, end in stored) // 60_000)
    if not stored:
        return Verdict(state=WAITING, key="guided.discharge_open", unit="min", digits=0)
    going = states[-1][2] == "stored_energy"
    if going or sight.end - stored[-1][1] < SETTLED_MS:
        return Verdict(state=WAITING, key="guided.discharge_on", value=minutes, unit="min", digits=0)
    return ended_discharge(sight, minutes, stored[-1][1])


def ended_discharge(sight: Sight, minutes: int, at_ms: int) -> Verdict:
    """Return the result of a discharge that ended: what it proves, until when."""
    days = round(sight.setting("battery.proven_age_max"))
    due = at_ms + days * 86_400_000
    return Verdict(state=PASSED if minutes >= 1 else FAILED, value=minutes, unit="min", digits=0, at_ms=at_ms,
                   key="guided.discharge_proven" if minutes >= 1 else "guided.discharge_short",
                   params={"due_ms": due, "days": days})  # fmt: skip
