"""Sensor faults in the units of the scenarios, turned into what the converter takes."""

from firmware_sim.board import adc
from firmware_sim.board.converter import PER_STEP, Converter
from firmware_sim.contract import channels

CHANNEL_OF = {row[1]: row[0] for row in channels.CHANNELS}
# "The value that stands now."
LAST = -999.0


def codes_per_unit(channel_id: int) -> float:
    """Return converter codes in one unit of the channel."""
    _, _, _, _, low, high, value_low, value_high, _ = channels.channel(channel_id)
    return (high - low) / (value_high - value_low)


def begin(converter: Converter, name: str, condition: str, value: float, step: int) -> None:
    """Begin a fault, or end it with 'ok'; `value` as the scenario's action says, in the channel's unit."""
    channel_id = CHANNEL_OF[name]
    scale = codes_per_unit(channel_id)
    if condition == "stuck" and value != LAST:
        converter.fault(channel_id, "stuck", code_of(channel_id, value), step)
    elif condition == "drift":
        # A rate a minute; the converter wants 1/2^24 code a sample.
        a_minute = 600 * PER_STEP.get(channel_id, 1)
        per_minute = 1.0 if value == LAST else value
        converter.fault(channel_id, "drift", round(per_minute * scale * (1 << 24) / a_minute), step)
    elif condition == "noisy":
        # A peak; the converter wants 1/256 code rms, and never goes beyond 3.5 deviations.
        peak = 5.0 if value == LAST else value
        converter.fault(channel_id, "noisy", round(peak * scale * 256 / 3.5), step)
    else:
        converter.fault(channel_id, "none" if condition == "ok" else condition, 0, step)


def code_of(channel_id: int, value: float) -> int:
    """Return the code that a perfect converter gives, within its ends."""
    _, _, _, _, low, high, value_low, _, _ = channels.channel(channel_id)
    zero = 0.0 if channel_id in adc.IS_BIPOLAR else low - value_low * codes_per_unit(channel_id)
    return int(min(max(round(zero + value * codes_per_unit(channel_id)), low), high))


def shift(converter: Converter, name: str, value: float) -> None:
    """Shift a channel by `value` units, on top of what it has."""
    channel_id = CHANNEL_OF[name]
    codes = value * codes_per_unit(channel_id)
    converter.parameters[channel_id][adc.P_ZERO] += round(codes * (1 << adc.FRACTION))


def scale(converter: Converter, name: str, per_cent: float) -> None:
    """Scale a channel by `per_cent`, on top of what it has."""
    parameter = converter.parameters[CHANNEL_OF[name]]
    parameter[adc.P_GAIN] = round(int(parameter[adc.P_GAIN]) * (1.0 + per_cent / 100.0))
