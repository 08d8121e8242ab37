"""The hal of a board that runs MicroPython: converter, pins, serial line, clock, watchdog by `machine`."""
