"""The emulated microcontroller behind the hal: ADC, pins, UART, flash, watchdog, clock, lamps, sounder."""
