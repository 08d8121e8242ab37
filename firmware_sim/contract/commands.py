"""Commands to the module, their bodies, and its answers.

Row: (code, name, fields, repeated, button, note). Body: the fields, little-endian, then `repeated`
as often as it fits. `button`: from a page (message `command`, from_page 1) the command works only
within 60 s of a press of one of the module's own buttons. Each command is answered by one `command_result`
record and logged.

A module obeys a command only with its own boot_id and a command_seq above all it has seen since that boot;
with a shared key the frame's code, under the nonce of the last hello, keeps old frames out as well.
"""

import struct

SET_SETTINGS = 1
SET_MODE = 2
SET_PRESET = 3
PAUSE_AUDIO = 4
ACKNOWLEDGE = 5
DECLARE_WARMING_UP = 6
CONFIRM_LIMITS = 7
SELF_TEST = 8
CLOCK = 9
BATTERY_TEST = 10
ASK_CAPTURE = 11
ASK_SETTINGS = 12
READ_LOG = 13
CALIBRATE = 14
NEW_PATIENT = 15
PRESSURE_HOLD = 16
CLEAR_LOG_NOTICE = 17
START_CASE = 18
END_CASE = 19
CYLINDER = 20

_NONE = ()

COMMANDS = (
    (SET_SETTINGS, "set_settings", _NONE, (("setting", "B", "", 1), ("value", "i", "", 1)), False,
     "all or none; infant as preset only together with every patient setting"),
    (SET_MODE, "set_mode", (("mode", "B", "", 1),), None, True,
     "channels.MODES; standby silences the breath rows, so a page needs the button"),
    (SET_PRESET, "set_preset", (("preset", "B", "", 1),), None, False,
     "adult or child: all patient settings as the preset has them; limits then wait for confirmation"),
    (PAUSE_AUDIO, "pause_audio", _NONE, None, True, "30 s at most from a page"),
    (ACKNOWLEDGE, "acknowledge", (("row", "B", "", 1),), None, True, "255: all that stands"),
    (DECLARE_WARMING_UP, "declare_warming_up", (("seconds", "H", "s", 1),), None, True,
     "0 ends it; 600 s at most; does not renew itself after a restart"),
    (CONFIRM_LIMITS, "confirm_limits", (("redraw", "B", "", 1),), None, False,
     "0: the limits in force stand; 1: draw them around the breath that is seen now"),
    (SELF_TEST, "self_test", _NONE, None, False, "all lamps and the sounder, logged"),
    (CLOCK, "clock", (("unix_s", "I", "s", 1), ("unix_ms", "H", "ms", 1)), None, False, "set the clock"),
    (BATTERY_TEST, "battery_test", (("start", "B", "", 1), ("day", "H", "d", 1)), None, False,
     "1 starts, 0 ends the guided discharge test; day since 1970-01-01"),
    (ASK_CAPTURE, "ask_capture", (("tap", "B", "", 1),), None, False, "waveform of a tap now: 0 in, 1 out"),
    (ASK_SETTINGS, "ask_settings", _NONE, None, False, "send the settings in force"),
    (READ_LOG, "read_log", (("first", "I", "", 1), ("count", "H", "", 1)), None, False,
     "send entries of the event log again, from a serial number on"),
    (CALIBRATE, "calibrate", (
        ("channel", "B", "", 1), ("gain", "i", "/16384", 1), ("offset", "i", "codes", 1),
        ("day", "H", "d", 1), ("points", "B", "", 1),
        ("gain_u", "H", "ppm", 1), ("offset_u", "H", "codes/100", 1),
    ), (("letter", "B", "utf-8", 1),), False,
     "gain and offset of one channel, their standard uncertainties, and the reference's name in letters; "
     "1 point: a zero check, which leaves gain, day and reference as they are"),
    (NEW_PATIENT, "new_patient", (("preset", "B", "", 1),), None, False,
     "ends the trends, restores the preset, forgets the confirmed breath"),
    (PRESSURE_HOLD, "pressure_hold", (("stage", "B", "", 1),), None, True,
     "leak test, patient off: 1 asks, 2 confirms, 0 ends; not within 60 s of a breath, ends above 40 cmH2O"),
    (CLEAR_LOG_NOTICE, "clear_log_notice", _NONE, None, False,
     "the log was read: older entries may be overwritten without notice"),
    (START_CASE, "start_case", (
        ("number", "H", "", 1), ("mode", "B", "", 1), ("preset", "B", "", 1),
    ), None, True,
     "new patient: preset and mode in one write, confirmed breath forgotten, limits wait for confirmation"),
    (END_CASE, "end_case", (("number", "H", "", 1),), None, True,
     "standby; the confirmed breath is forgotten, so that nothing of it reaches the next patient"),
    (CYLINDER, "cylinder", (
        ("litres", "H", "L", 1), ("rate", "H", "L/min", 100), ("drawn", "B", "", 1),
    ), None, False,
     "what a person's gauge reading and flows come to: usable litres at least, use at most; drawn 1: counts "
     "down from now on, 0: while the oxygen reading is a cylinder's; a rate of 0: no cylinder is known"),
)

RESULTS = (
    "done", "nothing_to_do", "already_paused", "burst_first", "not_from_page", "not_this_row", "button_first",
    "replayed", "wrong_boot", "unknown_command", "bad_body", "refused", "infant_not_supplied", "breath_seen",
    "no_breath_seen", "busy", "flash_failed", "not_available", "started",
)
DONE, NOTHING_TO_DO, ALREADY_PAUSED, BURST_FIRST, NOT_FROM_PAGE, NOT_THIS_ROW, BUTTON_FIRST = range(7)
REPLAYED, WRONG_BOOT, UNKNOWN_COMMAND, BAD_BODY, REFUSED, INFANT_NOT_SUPPLIED, BREATH_SEEN = range(7, 14)
NO_BREATH_SEEN, BUSY, FLASH_FAILED, NOT_AVAILABLE, STARTED = range(14, 19)

# A press of the module's own button opens the page's controls for so many steps of 100 ms.
BUTTON_WINDOW = 600

_SIZE = {"B": 1, "H": 2, "I": 4, "i": 4}
_BOUNDS = {"B": (0, 255), "H": (0, 65535), "I": (0, 0xFFFFFFFF), "i": (-(1 << 30), (1 << 30) - 1)}


def _layout(fields):
    """Return (struct letters, size, bounds) of a list of fields."""
    letters = "".join([field[1] for field in fields])
    size = 0
    for letter in letters:
        size += _SIZE[letter]
    return letters, size, tuple([_BOUNDS[letter] for letter in letters])


LAYOUTS = {row[0]: (_layout(row[2]), _layout(row[3]) if row[3] else None, row[4], row[1]) for row in COMMANDS}
CODE_OF = {row[1]: row[0] for row in COMMANDS}


def _pack(layout, values, name):
    letters, _, bounds = layout
    if len(values) != len(letters):
        raise ValueError("command " + name + " takes " + str(len(letters)) + " values here")
    for value, (low, high) in zip(values, bounds):
        if value < low or value > high:
            raise ValueError("command " + name + ": " + str(value) + " is out of range")
    return struct.pack("<" + letters, *values)


def pack(code, values=(), repeated=()):
    """Return the body of a command; `repeated` is a list of tuples. Raises ValueError on our own mistakes."""
    fields, again, _, name = LAYOUTS[code]
    body = _pack(fields, values, name)
    for item in repeated:
        body += _pack(again, item, name)
    return body


def unpack(code, body):
    """Return (values, list of repeated tuples) of a body, or None when it isn't one; never raises."""
    row = LAYOUTS.get(code)
    if row is None:
        return None
    (letters, size, _), again, _, _ = row
    rest = len(body) - size
    if rest < 0 or (rest and (again is None or rest % again[1])):
        return None
    values = struct.unpack("<" + letters, body[:size]) if letters else ()
    items = []
    while size < len(body):
        items.append(struct.unpack("<" + again[0], body[size:size + again[1]]))
        size += again[1]
    return values, items


def needs_button(code):
    """Tell whether a page may send this only after a press of the module's button."""
    return LAYOUTS[code][2]


class Gate:
    """Refuse commands of another boot and commands that came before."""

    def __init__(self, boot_id):
        self.boot_id = boot_id
        self.last_seq = 0

    def admit(self, boot_id, command_seq):
        """Return DONE when the command may be obeyed (and remember it), else WRONG_BOOT or REPLAYED."""
        if boot_id != self.boot_id:
            return WRONG_BOOT
        if command_seq <= self.last_seq:
            return REPLAYED
        self.last_seq = command_seq
        return DONE
