"""A plant that has been running, for the tests of the world."""

from collections.abc import Callable, Iterable, Mapping

import pytest

from firmware_sim.world.plant import Plant
from firmware_sim.world.scenario import Event, Scenario

# No drift and no randomness: what is left is what the test sets.
STILL = {"drift_pct": 0.0, "sway_pct": 0.0, "wobble_pct": 0.0, "wander_hz": 0.0}
RUNNING = {"bed": 1.0, "site_ppm": 945_000.0, "ups_normal": 1.0}


def at(t_s: float, actor: str, action: str, **params: float | str) -> Event:
    """Return an event."""
    return Event(t_s=t_s, actor=actor, action=action, params=params)


@pytest.fixture
def plant() -> Callable[..., Plant]:
    """Return a maker of plants: settings by part, initial values, events."""

    def make(
        events: Iterable[Event] = (),
        initial: Mapping[str, float] | None = None,
        nominal_v: float = 230.0,
        nominal_hz: float = 50.0,
        seed: int = 7,
        **settings: Mapping[str, float],
    ) -> Plant:
        scenario = Scenario(
            name="test",
            title="test",
            description="Invented for a test.",
            nominal_v=nominal_v,
            nominal_hz=nominal_hz,
            seed=seed,
            settings={**settings, "mains": {**STILL, **settings.get("mains", {})}},
            initial=RUNNING if initial is None else initial,
            events=tuple(events),
        )
        return Plant(scenario)

    return make


@pytest.fixture
def at_event() -> Callable[..., Event]:
    """Return the maker of events."""
    return at
