"""Nights that are not played but written down, for tests of what plays many of them."""

import os
import signal
import time
from pathlib import Path

from firmware_sim.contract import messages
from tests.support.night_store import Night


def written(scenario, hours, seed, store, profile, start, quiet):
    """Write a night with `seed` alarms modulo three, and an interruption where the seed is even."""
    night = Night(store, 1_780_000_000_000, boot_id=seed + 1, seed=seed)
    night.settings()
    night.seconds(0, 20)
    for index in range(seed % 3):
        night.alarm("purity_low", 0.05 + index / 10, "raised")
        night.alarm("purity_low", 0.06 + index / 10, "cleared")
    if seed % 2 == 0:
        for phase, took in ((0, 0), (1, 4500)):
            night.put(messages.SUPPLY_EVENT, 15_000, (1, 0, 2, phase, 9000, took, 100, 0))
    night.commit()
    night.close()
    return {"hours": 20 / 3600, "wall_s": 1.0 + seed, "alarms": seed % 3}


def killed(scenario, hours, seed, store, profile, start, quiet):
    """Write the nights of seeds below 6, and end the process in the middle of the next, as a kill does."""
    figures = written(scenario, hours, seed, store, profile, start, quiet)
    if seed >= 6:
        os.kill(os.getpid(), signal.SIGKILL)
    return figures


def long(scenario, hours, seed, store, profile, start, quiet):
    """Say who plays, then play for longer than any test."""
    Path(scenario, f"{os.getpid()}.pid").touch()
    time.sleep(600)
    return {}
