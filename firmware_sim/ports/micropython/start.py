"""Run the firmware on a board; a program on trial confirms itself after a good minute."""

import gc
import time

import machine

from firmware_sim import kernels
from firmware_sim.contract import STEP_MS, SUPPLY_RATE_HZ
from firmware_sim.core.app import App
from firmware_sim.ports.micropython import pins
from firmware_sim.ports.micropython.hal import Hal
from firmware_sim.ports.micropython.sampler import Sampler

# A program on trial is confirmed after so many steps, its self-test passed.
GOOD_STEPS = 60_000 // STEP_MS


def run(confirm=None):
    """Sample, step, and sleep in between, for ever. `confirm`: called once a trial has proven itself."""
    sampler = Sampler()
    hal = Hal(sampler)
    app = App(hal, kernels)
    gc.collect()
    timer = machine.Timer(pins.TIMER)
    timer.init(mode=machine.Timer.PERIODIC, freq=SUPPLY_RATE_HZ, callback=sampler.tick)
    step = 0
    while True:
        block = sampler.take()
        if block is None:
            machine.idle()
            continue
        began = time.ticks_us()
        hal.begin(step, block)
        app.step(block)
        hal.loop_us_max = max(hal.loop_us_max, time.ticks_diff(time.ticks_us(), began))
        step += 1
        if confirm is not None and step >= GOOD_STEPS:
            if is_good(app.system.self_test):
                confirm()
            confirm = None


def is_good(self_test):
    """Tell whether the module's test of itself is over and found nothing."""
    return self_test.left == 0 and self_test.failed == 0
