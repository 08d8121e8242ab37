"""Guide a calibration: hold a reference, gather what the module saw meanwhile, solve, send, write it down.

The module answers for its own numbers; who, why, reference and every point stay in the store as a mark.
"""

import math
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from firmware_sim.contract import channels, commands, settings
from ingest.analysis.calibration import Channel, Coefficients, Drift, Point, Result, check_point, drift
from ingest.change_settings import in_force, send
from ingest.control_client import Client
from ingest.errors import UserError
from ingest.store.reader import open_reader
from ingest.store.reader.bench import Calibration

# A raw record comes each ten seconds; one that began before the reference stood still doesn't count.
WAIT_S, STEP_S = 45.0, 0.3
MARK = "calibration"
REFERENCE_MAX = 40
DAY_S = 86_400
TREND_OF = {channels.SUPPLY_IN: "supply_in", channels.SUPPLY_OUT: "supply_out"}
# Codes behind a mean of a raw record, by rate of the channel; of a tap a tenth of a second in each counts.
SHARE_OF_TAP = 0.1


class Guide:
    """Calibrate one channel of one module over its daemon. `clock` is the host's UTC in ms."""

    def __init__(
        self, store: Path, module: int | None, about: Channel,
        clock: Callable[[], int] = lambda: time.time_ns() // 1_000_000,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:  # fmt: skip
        self.store, self.about, self.clock, self.sleep = store, about, clock, sleep
        self.module, found = in_force(store, module)
        self.values = found.values
        gain, offset = (self.setting(f"calibration.{about.name}_{part}") for part in ("gain", "offset"))
        self.before = Coefficients(gain=gain, offset=offset)
        self._may_be_calibrated()

    def setting(self, name: str) -> int:
        """Return one setting in force as an integer."""
        return int(self.values[settings.ID_OF[name]])

    def _may_be_calibrated(self) -> None:
        mode = channels.MODES[self.setting("module.mode")]
        if self.about.id == channels.PRESSURE and mode != "standby":
            raise UserError(
                f"The module watches a patient's circuit (mode {mode}); take it off, set standby, then begin."
            )

    def factor(self) -> float:
        """Return what the module multiplies a reading with after gain and offset: altitude, of oxygen.

        Pressure of the standard atmosphere: p0 (1 - 2.25577e-5 h)^5.25588, as the module has it.
        """
        if self.about.id != channels.OXYGEN:
            return 1.0
        return float((1 - 2.25577e-5 * self.setting("oxygen.altitude")) ** -5.25588)

    def hold(self, reference: float) -> Point:
        """Wait for a whole raw record of a reference that stands now; return the point.

        Raise UserError when none comes, or for a point that can't be used.
        """
        began = self.clock()
        until = began + round(WAIT_S * 1000)
        while self.clock() < until:
            point = self._point(reference, began)
            if point is not None:
                check_point(self.about, point)
                return point
            self.sleep(STEP_S)
        raise UserError(
            f"No raw codes of {self.about.name} came within {WAIT_S:g} s; is the daemon recording the module?"
        )

    def _point(self, reference: float, began: int) -> Point | None:
        with open_reader(self.store) as reader:
            raw = reader.raw_codes(self.module, began, began + round(2 * WAIT_S * 1000))
            whole = np.flatnonzero(raw.t - raw.seconds * 1000 >= began)
            if not len(whole):
                return None
            at = whole[0]
            mean, low, high = (float(part[at, self.about.id]) for part in (raw.mean, raw.low, raw.high))
            seconds = int(raw.seconds[at])
            if math.isnan(mean):
                raise UserError(f"This module has no channel {self.about.name}; nothing to calibrate.")
            count = max(1, seconds * channels.CHANNELS[self.about.id][8])
            if not self.about.is_ac:
                return Point(reference=reference, code=mean, low=low, high=high, count=count)
            start, end = int(raw.t[at]) - seconds * 1000, int(raw.t[at])
            found = reader.trends(self.module, start, end, [TREND_OF[self.about.id]])
        volts = found.mean[TREND_OF[self.about.id]]
        volts = volts[~np.isnan(volts)]
        if not len(volts):
            return None
        # Back to codes, without what the zero adds in squares.
        codes = volts * self.about.per_unit / (self.before.gain / 16384)
        zero = mean - self.before.offset
        codes = np.sqrt(np.maximum(codes**2 - zero**2, 0.0))
        return Point(reference=reference, code=float(codes.mean()), low=float(codes.min()),
                     high=float(codes.max()), count=len(codes), zero=mean)  # fmt: skip

    def earlier(self) -> Calibration | None:
        """Return the newest calibration of this channel that the store knows."""
        with open_reader(self.store) as reader:
            found = [one for one in reader.calibrations(self.module) if one.channel == self.about.name]
        return found[-1] if found else None

    def drifted(self, result: Result) -> Drift | None:
        """Compare with the calibration before at the largest point, None where there was none."""
        old = self.earlier()
        if old is None or old.points < 2:
            return None
        return drift(
            self.about, Coefficients(gain=old.gain, offset=old.offset), (old.gain_u_ppm, old.offset_u),
            result.coefficients, (result.gain_u_ppm, result.offset_u),
            max(point.reference for point in result.points),
        )  # fmt: skip

    def put_in_force(self, result: Result, name: str, operator: str, reason: str) -> None:
        """Send a result to the module, wait for its answer, and write every point down."""
        new = result.coefficients
        fields = (
            self.about.id, new.gain, new.offset, self.day(), len(result.points),
            min(65_535, math.ceil(result.gain_u_ppm)), min(65_535, math.ceil(result.offset_u * 100)),
        )  # fmt: skip
        self._send(fields, name, operator, reason)
        told = {
            "channel": self.about.name, "unit": self.about.unit, "reference": name,
            "before": asdict(self.before), "after": asdict(new), "gain_u_ppm": result.gain_u_ppm,
            "offset_u_codes": result.offset_u, "widened": result.widened,
            "points": [asdict(point) for point in result.points],
            "as_found": list(result.found), "as_left": list(result.left),
        }  # fmt: skip
        self._write(told, operator, reason)

    def put_zero_in_force(self, offset: int, point: Point, operator: str, reason: str) -> None:
        """Send the offset of a zero check; gain, day and reference stay as they are."""
        hundredths = math.ceil(100 * math.hypot(point.uncertainty(), 1 / math.sqrt(12)))
        fields = (self.about.id, self.before.gain, offset, self.day(), 1, 0, min(65_535, hundredths))
        self._send(fields, "zero check", operator, reason)
        told = {"channel": self.about.name, "unit": self.about.unit, "reference": "zero check",
                "before": asdict(self.before), "after": {"gain": self.before.gain, "offset": offset},
                "points": [asdict(point)]}  # fmt: skip
        self._write(told, operator, reason)

    def day(self) -> int:
        """Return today as days since 1970-01-01."""
        return self.clock() // 1000 // DAY_S

    def _send(self, fields: tuple[int, ...], name: str, operator: str, reason: str) -> None:
        letters = [(letter,) for letter in name.encode("utf-8")]
        if len(letters) > REFERENCE_MAX:
            raise UserError(f"--reference: the module keeps {REFERENCE_MAX} letters; '{name}' is longer.")
        body = commands.pack(commands.CALIBRATE, fields, letters)
        send(self.store, self.module, (commands.CALIBRATE, body), operator, reason)

    def _write(self, data: dict[str, Any], operator: str, reason: str) -> None:
        Client(self.store).add_mark(
            module=self.module, utc=self.clock(), kind=MARK, author=operator, text=reason, data=data
        )
