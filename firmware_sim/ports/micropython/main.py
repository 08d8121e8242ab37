"""Start a board's program at power-up: the confirmed one, or a new one on trial. Itself never replaced."""

import sys

import boot_slots
import machine

folder, on_trial = boot_slots.choose()
if folder:
    sys.path.insert(0, folder)
try:
    from firmware_sim.ports.micropython import start
    start.run(boot_slots.confirm if on_trial else None)
except Exception as error:
    if not on_trial:
        raise
    sys.print_exception(error)
    machine.reset()
