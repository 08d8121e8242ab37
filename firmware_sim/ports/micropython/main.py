"""Start the firmware on a board: copied to its root as main.py, it runs at power-up."""

import gc
import time

import machine

from firmware_sim import kernels
from firmware_sim.contract import SUPPLY_RATE_HZ
from firmware_sim.core.app import App
from firmware_sim.ports.micropython import pins
from firmware_sim.ports.micropython.hal import Hal
from firmware_sim.ports.micropython.sampler import Sampler


def run():
    """Sample, step, and sleep in between, for ever."""
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


run()
