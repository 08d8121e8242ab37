"""Every setting of the module: name, unit, scale, hard bounds, defaults, and what must not contradict.

A setting is an integer; `scale` is the number of its steps in one unit and equals that of the engine input
it limits, so that the engine compares integers. Times carry one decimal: their integer is steps of 100 ms.
'patient' settings are set by a preset (adult, child); infant values nobody guesses: they come from a site,
all of them in one command. Supply limits are per cent of the set nominal voltage, frequency limits per cent
of the nominal frequency. A calibration gain of 16384 is 1; offsets are converter codes.
"""

from collections import namedtuple

from firmware_sim.contract.channels import (
    CHANNELS,
    HALF_CYCLE_TAPS,
    MODES,
    PRESET_ADULT,
    PRESET_CHILD,
    PRESET_INFANT,
    PRESETS,
    UPS_CLASSES,
)

Setting = namedtuple("Setting", (
    "id", "name", "unit", "scale", "low", "high", "adult", "child", "patient", "group", "note",
))

# A site's own choice where no source is named.
_PRACTICE = "no source, common practice"
_TRADE = "practice of the trade"

# The battery's voltage in the discharge test, one setting a point of its curve.
CURVE_NAMES = tuple(["discharge.volts_" + str(k) for k in range(8)])

# Lines: name, unit, scale, low, high, adult, child (None: not a patient setting), note. In units, not steps.
_LINES = (
    # What the module is used for.
    ("module.mode", MODES, 1, 0, 3, 1, None, "comes up armed: ventilator"),
    ("module.preset", PRESETS, 1, 0, 2, 0, None, "infant only from a site"),
    ("module.unconfirmed", "", 1, 0, 1, 0, None, "1: limits of previous use wait for confirmation"),
    # Circuit.
    ("pressure.high", "cmH2O", 100, 10, 80, 35, 30, "10-15 above the peak or fixed 35, rarely above 40"),
    ("pressure.high_off_delay", "s", 10, 0, 10, 5, 5, "bridges two breaths, so that one cause is one alarm"),
    ("pressure.sustained", "cmH2O", 100, 5, 40, 15, 15, "15 cmH2O for 15 s, from memory"),
    ("pressure.sustained_delay", "s", 10, 5, 15, 15, 10, "10-15 s"),
    ("pressure.disconnect", "cmH2O", 100, 3, 40, 10, 8, "fixed 10; a pillow on an open tube can keep 8"),
    ("pressure.disconnect_delay", "s", 10, 10, 20, 10, 10, "at least 10 s and 1.3 cycles, 20 s at most"),
    ("pressure.low", "cmH2O", 100, 4, 60, 11, 9, "5-15 below the peak or fixed 10"),
    ("pressure.low_delay", "s", 10, 0, 30, 10, 10, _PRACTICE),
    ("pressure.below_ambient", "cmH2O", 100, -25, -2, -10, -10, "teaching text"),
    ("pressure.below_ambient_delay", "s", 10, 0, 2, 1, 1, _TRADE),
    ("pressure.deadband", "cmH2O", 100, 0, 3, 1, 1, "2 % of range (EEMUA 191, from memory) would be 3"),
    ("end_expiratory.high", "cmH2O", 100, 1, 30, 10, 8, _PRACTICE),
    ("end_expiratory.low", "cmH2O", 100, -10, 20, -2, -2, _PRACTICE),
    ("end_expiratory.delay", "s", 10, 0, 30, 10, 10, _PRACTICE),
    ("rate.high", "/min", 100, 10, 80, 30, 45, _PRACTICE),
    ("rate.low", "/min", 100, 2, 40, 6, 12, "a field ventilator runs at 4-40/min, common practice"),
    ("rate.delay", "s", 10, 0, 30, 15, 15, _PRACTICE),
    ("rate.deadband", "/min", 100, 0, 5, 1, 1, _PRACTICE),
    ("rate.adult_doubtful", "/min", 100, 20, 60, 24, 24, _PRACTICE),
    ("rate.doubtful_delay", "s", 10, 0, 120, 60, 60, _PRACTICE),
    ("breath.no_breath", "s", 10, 10, 20, 20, 15, "apnoea: 20 s at most; between one and two cycles"),
    ("breath.no_effort", "s", 10, 10, 20, 20, 15, "apnoea: 20 s at most"),
    ("breath.standby", "s", 10, 5, 30, 10, 10, _PRACTICE),
    ("breath.standby_delay", "s", 10, 10, 120, 30, 30, _PRACTICE),
    ("breath.mode_delay", "s", 10, 0, 120, 20, 20, _PRACTICE),
    ("confirmed.peak", "cmH2O", 100, 0, 80, 0, 0, "0: not confirmed"),
    ("confirmed.end_expiratory", "cmH2O", 100, -10, 30, 0, 0, "meaningful once the peak is confirmed"),
    ("confirmed.rate", "/min", 100, 0, 80, 0, 0, "0: not confirmed"),
    # Oxygen source.
    ("oxygen.low", "%", 100, 60, 95, 82, None, _TRADE),
    ("oxygen.very_low", "%", 100, 30, 90, 70, None, _TRADE),
    ("oxygen.deadband", "%", 100, 0, 5, 1, None, _PRACTICE),
    ("oxygen.delay", "s", 10, 0, 60, 10, None, _PRACTICE),
    ("oxygen.off_delay", "s", 10, 0, 60, 10, None, _PRACTICE),
    ("oxygen.fall", "%/min", 100, 1, 20, 3, None, _PRACTICE),
    ("oxygen.fall_deadband", "%/min", 100, 0, 5, 1, None, _PRACTICE),
    ("oxygen.fall_delay", "s", 10, 0, 120, 20, None, _PRACTICE),
    ("oxygen.stopped_delay", "s", 10, 0, 60, 10, None, _PRACTICE),
    ("oxygen.not_current_delay", "s", 10, 0, 300, 60, None, _PRACTICE),
    ("oxygen.warming_up", "s", 10, 60, 600, 600, None, "10 min at most, practice of the trade"),
    ("oxygen.altitude", "m", 1, -400, 4500, 0, None, "of the site; a galvanic cell reads partial pressure"),
    ("cylinder.short", "min", 1, 5, 240, 30, None, _PRACTICE),
    ("cylinder.deadband", "min", 1, 0, 60, 5, None, _PRACTICE),
    # Supply, per cent of nominal.
    ("supply.nominal_voltage", "V", 1, 100, 240, 230, None, "of the site"),
    ("supply.nominal_frequency", "Hz", 1, 50, 60, 50, None, "of the site: 50 or 60"),
    ("supply.ups_class", UPS_CLASSES, 1, 0, 2, 0, None, "IEC 62040-3"),
    ("supply.window_low", "% of nominal", 100, 50, 95, 69.57, None, "160 V at 230 V"),
    ("supply.window_high", "% of nominal", 100, 105, 140, 130.43, None, "300 V at 230 V"),
    ("supply.interrupted", "% of nominal", 100, 10, 60, 40, None, _PRACTICE),
    ("supply.dangerous", "% of nominal", 100, 110, 160, 135, None, "above the UPS's window, common practice"),
    ("supply.output_dangerous", "% of nominal", 100, 110, 140, 120, None, _PRACTICE),
    ("supply.dangerous_delay", "s", 10, 0, 2, 0.2, None, _PRACTICE),
    ("supply.dangerous_off_delay", "s", 10, 0, 120, 10, None, _PRACTICE),
    ("supply.output_lost", "% of nominal", 100, 20, 70, 50, None, _PRACTICE),
    ("supply.output_low", "% of nominal", 100, 60, 95, 80, None, _PRACTICE),
    ("supply.output_delay", "s", 10, 0, 10, 1, None, _PRACTICE),
    ("supply.output_off_delay", "s", 10, 0, 60, 5, None, _PRACTICE),
    ("supply.deadband", "% of nominal", 100, 0, 10, 2, None, "as the hysteresis of dips (IEC 61000-4-30)"),
    ("supply.delay", "s", 10, 0, 60, 3, None, _PRACTICE),
    ("supply.off_delay", "s", 10, 0, 600, 60, None, "one alarm for a restless mains, common practice"),
    ("supply.state_delay", "s", 10, 0, 60, 5, None, _PRACTICE),
    ("supply.bypass_delay", "s", 10, 0, 300, 10, None, _PRACTICE),
    ("supply.undetermined", "s", 10, 60, 3600, 600, None, "10 min, practice of the trade"),
    ("supply.dips_hour", "", 1, 1, 100, 6, None, _PRACTICE),
    ("frequency.low", "% of nominal", 100, 85, 99.5, 95, None, _PRACTICE),
    ("frequency.high", "% of nominal", 100, 100.5, 115, 105, None, _PRACTICE),
    ("frequency.deadband", "% of nominal", 100, 0, 3, 0.5, None, _PRACTICE),
    ("frequency.delay", "s", 10, 0, 60, 5, None, _PRACTICE),
    ("battery.short", "s", 1, 300, 3600, 600, None, "10 min, practice of the trade"),
    ("battery.very_short", "s", 1, 120, 1800, 300, None, "5 min, practice of the trade"),
    ("battery.deadband", "s", 1, 0, 300, 60, None, _PRACTICE),
    ("battery.delay", "s", 10, 0, 60, 2, None, _PRACTICE),
    ("battery.proven_minutes", "min", 1, 0, 1440, 0, None, "last proven discharge test; 0: never"),
    ("battery.proven_day", "d", 1, 0, 60000, 0, None, "day of that test, days since 1970-01-01; 0: never"),
    ("battery.proven_age_max", "d", 1, 30, 365, 180, None, "older reads 'not proven', practice of the trade"),
    ("battery.installed_day", "d", 1, 0, 60000, 0, None, "days since 1970-01-01; 0: not known"),
    ("battery.recharge", "h", 10, 1, 48, 8, None, "from empty to full, common practice"),
    # Study of the supply: never alarms.
    ("study.dip", "% of nominal", 100, 70, 95, 90, None, "IEC 61000-4-30"),
    ("study.swell", "% of nominal", 100, 105, 130, 110, None, "IEC 61000-4-30"),
    ("study.interruption", "% of nominal", 100, 1, 20, 10, None, "10 % (IEEE 1159), 5 % (EN 50160)"),
    ("study.hysteresis", "% of nominal", 100, 0.5, 5, 2, None, "2 % (IEC 61000-4-30)"),
    ("study.snapshot_interval", "min", 1, 0, 1440, 10, None, "0: none; one each 10-min value"),
    # Signals.
    ("alarm.pause", "s", 10, 30, 120, 120, None, "120 s at most (from memory, ISO 80601-2-12)"),
    ("alarm.reminder", "s", 10, 30, 120, 120, None, "sound in every 125 s of a standing high condition"),
    ("alarm.re_alarm", "s", 10, 60, 1800, 600, None, _PRACTICE),
    ("alarm.escalate", "s", 10, 60, 1800, 300, None, _PRACTICE),
    # Technical.
    ("sensor.delay", "s", 10, 0, 10, 5, None, _PRACTICE),
    ("sensor.off_delay", "s", 10, 0, 60, 5, None, _PRACTICE),
    ("rail.low", "V", 1000, 3, 4.9, 4.5, None, "5 V adapter; below it the module runs on its own cell"),
    ("rail.deadband", "V", 1000, 0, 0.5, 0.1, None, _PRACTICE),
    ("rail.delay", "s", 10, 0, 60, 2, None, _PRACTICE),
    ("rail.off_delay", "s", 10, 0, 60, 5, None, _PRACTICE),
    ("clock.delay", "s", 10, 0, 600, 60, None, "time for the host to set it"),
    ("link.lost", "s", 10, 5, 600, 30, None, _PRACTICE),
    ("log.fill", "%", 1, 50, 99, 90, None, _PRACTICE),
    ("log.deadband", "%", 1, 0, 20, 5, None, _PRACTICE),
    ("calibration.day", "d", 1, 0, 60000, 0, None, "days since 1970-01-01; 0: never"),
    ("calibration.interval", "d", 1, 30, 1000, 365, None, _PRACTICE),
)

# What came later stands behind the calibration: numbers of settings in older stores keep their meaning.
_LATER = (
    ("study.half_cycles", HALF_CYCLE_TAPS, 1, 0, 2, 0, None, "sent all the time: 9 MB a night a tap"),
    # What the channels of battery and load showed in the discharge test; 0: not measured.
    ("discharge.minutes", "min", 1, 0, 1440, 0, None, "the test that the rest of this group belongs to"),
    ("discharge.load", "A", 100, 0, 40, 0, None, "mean current of the UPS in the test"),
) + tuple([
    (name, "V", 100, 0, 300, 0, None, "battery in the test with " + share + " of its time left")
    for name, share in zip(CURVE_NAMES, ("none", "1/64", "1/32", "1/16", "1/8", "1/4", "1/2", "all"))
])


def _steps(value, scale):
    """Turn units into integer steps; decimals of the table have at most two more digits than the scale."""
    return int(value * scale + (0.5 if value >= 0 else -0.5))


def _build():
    rows = []
    for line in _LINES:
        rows.append(_row(len(rows), line))
    for channel in CHANNELS:
        for kind, low, high, default in (("gain", 13107, 19661, 16384), ("offset", -400, 400, 0)):
            rows.append(Setting(
                len(rows), "calibration." + channel[1] + "_" + kind,
                "codes" if kind == "offset" else "/16384", 1, low, high, default, default, False,
                "calibration", "two-point calibration; +-20 % at most",
            ))
    for line in _LATER:
        rows.append(_row(len(rows), line))
    return tuple(rows)


def _row(number, line):
    name, unit, scale, low, high, adult, child, note = line
    patient = child is not None
    choice = unit if isinstance(unit, tuple) else None
    return Setting(
        number, name, "/".join(choice) if choice else unit, scale,
        _steps(low, scale), _steps(high, scale), _steps(adult, scale),
        _steps(child if patient else adult, scale), patient, name.split(".")[0], note,
    )


SETTINGS = _build()
COUNT = len(SETTINGS)
ID_OF = {row.name: row.id for row in SETTINGS}
CHOICES = {
    "module.mode": MODES, "module.preset": PRESETS, "supply.ups_class": UPS_CLASSES,
    "study.half_cycles": HALF_CYCLE_TAPS,
}
PATIENT_IDS = tuple([row.id for row in SETTINGS if row.patient])

# Set by commands of their own or by the module itself, never by `set_settings`.
OWN_COMMAND = ("module.mode", "module.unconfirmed", "discharge.minutes", "discharge.load") + CURVE_NAMES

# Numbers of the reasons that `check` gives; the same numbers travel as `detail` of a command's result.
OUT_OF_BOUNDS = 1
CONTRADICTION = 2
BEYOND_SENSOR = 3
INFANT_NOT_SUPPLIED = 4
NO_SUCH_SETTING = 5
FLASH_FAILED = 6

# (first, second, margin in steps, reason): the first must lie below the second by at least the margin.
ORDER = (
    ("pressure.low", "pressure.high", 100, "the low pressure limit must lie below the high one"),
    ("pressure.disconnect", "pressure.high", 100, "the disconnection limit must lie below the high limit"),
    ("pressure.sustained", "pressure.high", 100, "the sustained limit must lie below the high limit"),
    ("pressure.disconnect", "pressure.low", 0, "the disconnection limit must not lie above the low limit"),
    ("end_expiratory.low", "end_expiratory.high", 100, "end-expiratory low must lie below its high limit"),
    ("end_expiratory.high", "pressure.high", 100, "end-expiratory high must lie below high pressure"),
    ("rate.low", "rate.high", 100, "the low rate must lie below the high rate"),
    ("oxygen.very_low", "oxygen.low", 100, "purity very low must lie below purity low"),
    ("battery.very_short", "battery.short", 60, "battery very short must lie below battery short"),
    ("supply.interrupted", "supply.window_low", 100, "interrupted must lie below the UPS's window"),
    ("supply.window_high", "supply.dangerous", 0, "dangerously high must not lie inside the UPS's window"),
    ("supply.output_lost", "supply.output_low", 100, "output lost must lie below output low"),
    ("frequency.low", "frequency.high", 100, "the low frequency must lie below the high one"),
)


def defaults(preset=PRESET_ADULT):
    """Return a list of all settings as integers, for adult or child; infant has none."""
    if preset == PRESET_INFANT:
        raise ValueError("there are no infant values; a site must supply them")
    values = [row.child if preset == PRESET_CHILD else row.adult for row in SETTINGS]
    values[ID_OF["module.preset"]] = preset
    return values


def apply_preset(values, preset):
    """Return a copy with every patient setting as the adult or child preset has it."""
    fresh = defaults(preset)
    out = list(values)
    for index in PATIENT_IDS:
        out[index] = fresh[index]
    out[ID_OF["module.preset"]] = preset
    return out


def check(values):
    """Return None when the whole set is sound, else (reason number, setting id, sentence)."""
    for row in SETTINGS:
        value = values[row.id]
        if value < row.low or value > row.high:
            return OUT_OF_BOUNDS, row.id, (
                row.name + " must lie between " + in_units(row.id, row.low) + " and "
                + in_units(row.id, row.high) + ", not " + in_units(row.id, value))
    for first, second, margin, reason in ORDER:
        if values[ID_OF[first]] + margin > values[ID_OF[second]]:
            return CONTRADICTION, ID_OF[first], reason
    return _check_confirmed(values) or _check_sensor(values)


def _check_confirmed(values):
    """Hold the disconnection limit above what an open tube can keep, once a person confirmed the breath."""
    peak = values[ID_OF["confirmed.peak"]]
    limit = values[ID_OF["pressure.disconnect"]]
    if peak and limit < values[ID_OF["confirmed.end_expiratory"]] + 300:
        return CONTRADICTION, ID_OF["pressure.disconnect"], (
            "the disconnection limit must lie at least 3 cmH2O above the confirmed end-expiratory pressure")
    if peak and limit >= peak:
        return CONTRADICTION, ID_OF["pressure.disconnect"], (
            "the disconnection limit must lie below the confirmed peak")
    if values[ID_OF["supply.nominal_frequency"]] not in (50, 60):
        return OUT_OF_BOUNDS, ID_OF["supply.nominal_frequency"], "the nominal frequency is 50 or 60 Hz"
    return None


def _check_sensor(values):
    """Refuse a supply limit whose crest the taps can't see."""
    crest = CHANNELS[0][7]
    nominal = values[ID_OF["supply.nominal_voltage"]]
    for name in ("supply.window_high", "supply.dangerous", "supply.output_dangerous"):
        if values[ID_OF[name]] * nominal * 1.4143 / 10000 > crest:
            return BEYOND_SENSOR, ID_OF[name], name + " lies beyond the range of the supply taps"
    return None


def in_units(setting_id, value):
    """Return a value as text in its unit, e.g. '35.00 cmH2O'; a choice as its word."""
    row = SETTINGS[setting_id]
    if row.name in CHOICES:
        words = CHOICES[row.name]
        return words[value] if 0 <= value < len(words) else str(value)
    if row.scale == 1:
        return (str(value) + " " + row.unit).strip()
    digits = len(str(row.scale)) - 1
    whole = abs(value) // row.scale
    part = str(abs(value) % row.scale)
    part = "0" * (digits - len(part)) + part
    return ("-" if value < 0 else "") + str(whole) + "." + part + " " + row.unit


def confirm(values, peak, end_expiratory, rate):
    """Return a copy with limits drawn around a breath that a person confirmed, and None; else None and why.

    Steps of the settings' scales. Disconnection: peak - 5, never under end-expiratory + 3 cmH2O;
    low: peak - 3 but not under the disconnection limit; high: peak + 12; sustained: end-expiratory + 10; rate
    +-30 %. What the hard bounds do not allow is drawn in to them.
    """
    out = list(values)
    wanted = (
        ("confirmed.peak", peak), ("confirmed.end_expiratory", end_expiratory), ("confirmed.rate", rate),
        ("pressure.disconnect", max(peak - 500, end_expiratory + 300)),
        ("pressure.low", max(peak - 300, end_expiratory + 300)),
        ("pressure.high", peak + 1200),
        ("pressure.sustained", end_expiratory + 1000),
        ("end_expiratory.high", end_expiratory + 500),
        ("end_expiratory.low", end_expiratory - 300),
        ("rate.high", rate * 13 // 10), ("rate.low", rate * 7 // 10),
    )
    for name, value in wanted:
        row = SETTINGS[ID_OF[name]]
        out[row.id] = value if name.startswith("confirmed") else max(row.low, min(row.high, value))
    refused = check(out)
    return (None, refused) if refused else (out, None)


def disconnect_delay(values):
    """Return the disconnection delay in steps: max(setting, 1.3 cycles of the confirmed rate), 20 s at most.

    A child's cycles are short: there the setting stands as it is.
    """
    steps = values[ID_OF["pressure.disconnect_delay"]]
    rate = values[ID_OF["confirmed.rate"]]
    if rate and values[ID_OF["module.preset"]] == PRESET_ADULT:
        # Rate in 1/100 per minute: one cycle is 60000 / rate steps of 100 ms.
        steps = max(steps, (13 * 6000 + rate - 1) // rate)
    return min(steps, 200)
