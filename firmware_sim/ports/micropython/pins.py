"""Which pin does what: the one place to change for another board.

Row: (role, pin, what hangs there). A pin of None means not fitted; the channel then reads 'not available'.
The numbers suit a board of the 240 MHz class with ten converter pins; they are this project's choice.
"""

PINS = (
    ("supply_in", 1, "converter, mid-scale at no voltage"),
    ("supply_out", 2, "converter, mid-scale at no voltage"),
    ("pressure", 3, "converter"),
    ("oxygen", 4, "converter"),
    ("rail", 5, "converter, behind a 2:1 divider"),
    ("product_pressure", None, "converter, optional"),
    ("battery_voltage", None, "converter, optional"),
    ("ups_current", None, "converter, optional"),
    ("surge_peak", None, "converter with peak hold, optional"),
    ("ups_contact", None, "input, closed is 1, optional"),
    ("lamp_high", 11, "output, red"),
    ("lamp_medium", 12, "output, yellow"),
    ("lamp_low", 13, "output, cyan"),
    ("lamp_paused", 14, "output, sound paused"),
    ("sounder", 15, "pulse-width output"),
    ("pause_sound", 9, "input with pull-up, pressed is 0"),
    ("acknowledge", 10, "input with pull-up, pressed is 0"),
    ("tx", 17, "serial line to the host"),
    ("rx", 18, "serial line from the host"),
)
PIN_OF = {row[0]: row[1] for row in PINS}

UART = 1
BAUD = 230400
WATCHDOG_MS = 2000
TIMER = -1
# 0 small, 1 large; and the bytes for records that the host has not acknowledged.
PROFILE = 0
RING_BYTES = 96 * 1024
FLASH_PAGES = 64
FLASH_FOLDER = "flash"
KEY_FILE = "link.key"
