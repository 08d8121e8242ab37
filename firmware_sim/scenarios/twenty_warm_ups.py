"""Twenty short cuts, each followed by a warm-up that somebody declares."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Event, Scenario
from firmware_sim.world.statistics import Draw


def _cuts() -> tuple[Event, ...]:
    numbers = Draw(27)
    events = []
    for k in range(20):
        t = 20 * MINUTE + k * 5 * MINUTE
        length = round(numbers.between(30.0, 90.0), 2)
        events.append(at(t, "mains", "interruption", duration_s=length))
        events.append(at(t + length + 10, "person", "declare_warming_up"))
    return tuple(events)


SCENARIO = Scenario(
    name="twenty-warm-ups",
    title="Twenty warm-ups",
    description=(
        "Invented. UPS in bypass, twenty cuts of 30-90 s in 100 min, a worn sieve: the oxygen hardly "
        "gets above 80 %. Somebody declares 'warming up' after each cut; that must not silence low "
        "purity for hours."
    ),
    start="2026-02-16T09:00:00",
    duration_s=2.25 * HOUR,
    seed=27,
    settings={
        "patient": ADULT,
        "ventilator": {**BELLOWS_ADULT, "hanging": 1},
        "concentrator": {"wear": 0.497, "fade_s": 600.0},
        "cylinder": {"valve": 0},
    },
    initial={**warm(), "ups_normal": 0.0, "site_ppm": 800_000.0},
    events=(*attended(), *_cuts()),
    must_find=(
        find("oxygen", 40 * MINUTE, 120 * MINUTE, pct=[70.0, 82.5]),
        find("alarm", 20 * MINUTE, 50 * MINUTE, condition="purity_low", priority="medium"),
        find("alarm", 60 * MINUTE, 120 * MINUTE, condition="purity_low", priority="medium"),
        never("supply_state", 5 * MINUTE, 2 * HOUR, state="normal"),
    ),
)
