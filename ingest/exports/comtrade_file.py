"""Write captured waveforms as COMTRADE (IEC 60255-24:2013): ASCII, BINARY, and all in one .cff file.

A record's time stamps count half microseconds (the time multiplier is 0.5), since a sample of 3.2 kS/s lasts
312.5 us: they are exact. Times are UTC, and the time quality says 'within 1 s', the clock being estimated.
"""

import struct
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from firmware_sim.contract import SUPPLY_RATE_HZ
from ingest.errors import UserError
from ingest.store.reader import Capture, Module, Reader, SupplyEvent, tables
from ingest.store.reader.events import VOLTS_PER_CODE

Form = Literal["ASCII", "BINARY"]
FORMS: Final[tuple[Form, ...]] = ("ASCII", "BINARY")
EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
LINE: Final = "\r\n"
STEP: Final = 625  # half microseconds a sample of 3.2 kS/s
TIME_MULTIPLIER: Final = 0.5
MISSING_BINARY, MISSING_ASCII = -0x8000, "99999"
CODE_MIN, CODE_MAX = -2048, 2047
NAME_LETTERS_MAX = 64
QUALITY_WITHIN_1_S, NO_LEAP_SECONDS = "A", "3"  # the standard's codes, from memory
TAP_NAMES: Final = ("supply_in", "supply_out")


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """Hold one analogue channel: volts = a * code + b; `missing` marks samples that were lost."""

    name: str
    unit: str
    a: float
    b: float
    codes: NDArray[np.int16]
    missing: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Waveform:
    """Hold one record: times in UTC microseconds, channels of one length, one status (the event stands)."""

    station: str
    device: str
    start_us: int
    trigger_us: int
    nominal_hz: int
    channels: tuple[Channel, ...]
    event: NDArray[np.bool_]

    @property
    def samples(self) -> int:
        """Return the number of samples."""
        return len(self.event)


def cfg_bytes(wave: Waveform, form: Form) -> bytes:
    """Return the configuration."""
    lines = [
        f"{_name(wave.station)},{_name(wave.device)},2013",
        f"{len(wave.channels) + 1},{len(wave.channels)}A,1D",
        *(_analogue(n, channel) for n, channel in enumerate(wave.channels, 1)),
        "1,supply_event,,,0",
        str(wave.nominal_hz),
        "1",
        f"{SUPPLY_RATE_HZ},{wave.samples}",
        _stamp(wave.start_us),
        _stamp(wave.trigger_us),
        form,
        f"{TIME_MULTIPLIER}",
        "0,0",
        f"{QUALITY_WITHIN_1_S},{NO_LEAP_SECONDS}",
    ]
    return (LINE.join(lines) + LINE).encode()


def _analogue(number: int, channel: Channel) -> str:
    limits = f"{CODE_MIN},{CODE_MAX}"
    return f"{number},{channel.name},,,{channel.unit},{channel.a!r},{channel.b!r},0,{limits},1,1,P"


def _stamp(utc_us: int) -> str:
    return (EPOCH + timedelta(microseconds=utc_us)).strftime("%d/%m/%Y,%H:%M:%S.%f")


def _name(text: str) -> str:
    """Return a name without what would end a field or a line."""
    return "".join(c for c in text if c.isprintable() and c != ",").strip()[:NAME_LETTERS_MAX]


def dat_bytes(wave: Waveform, form: Form) -> bytes:
    """Return the data: sample number, time stamp, codes, status."""
    return _ascii(wave) if form == "ASCII" else _binary(wave)


def _ascii(wave: Waveform) -> bytes:
    columns = [
        np.where(channel.missing, MISSING_ASCII, channel.codes.astype(str)).tolist()
        for channel in wave.channels
    ]
    rows = (
        ",".join((str(n + 1), str(n * STEP), *values, str(int(event))))
        for n, (*values, event) in enumerate(zip(*columns, wave.event.tolist(), strict=True))
    )
    return "".join(row + LINE for row in rows).encode()


def _binary(wave: Waveform) -> bytes:
    names = [f"c{n}" for n in range(len(wave.channels))]
    layout = np.dtype([("n", "<u4"), ("at", "<u4"), *((name, "<i2") for name in names), ("status", "<u2")])
    out = np.zeros(wave.samples, layout)
    out["n"] = np.arange(1, wave.samples + 1)
    out["at"] = np.arange(wave.samples) * STEP
    for name, channel in zip(names, wave.channels, strict=True):
        out[name] = np.where(channel.missing, MISSING_BINARY, channel.codes)
    out["status"] = wave.event
    assert layout.itemsize == struct.calcsize(f"<II{len(names)}hH"), "records have no padding"
    return out.tobytes()


def cff_bytes(wave: Waveform, form: Form, header: str) -> bytes:
    """Return the record as one file: configuration, header text, data."""
    data = dat_bytes(wave, form)
    size = f": {len(data)}" if form == "BINARY" else ""
    parts = [
        f"--- file type: CFG ---{LINE}".encode(), cfg_bytes(wave, form),
        f"--- file type: INF ---{LINE}".encode(),
        f"--- file type: HDR ---{LINE}{header}{LINE}".encode(),
        f"--- file type: DAT {form}{size} ---{LINE}".encode(), data,
    ]  # fmt: skip
    return b"".join(parts)


def waveforms(reader: Reader, module: Module, start: int, end: int) -> Iterator[tuple[str, str, Waveform]]:
    """Yield (file stem, header, record) of each capture that begins in [start, end), both taps in one."""
    events = {(e.boot, e.event_id): e for e in reversed(reader.supply_events(module.id, start - 60_000, end))}
    pairs: dict[tuple[int, int, int], list[Capture]] = {}
    for one in reader.captures(module.id, start, end):
        pairs.setdefault((one.boot, one.capture_id, round(one.start)), []).append(one)
    for taps in pairs.values():
        first = taps[0]
        event = None if first.event_id is None else events.get((first.boot, first.event_id))
        kind = tables.CAPTURE_KINDS[first.kind]
        at = EPOCH + timedelta(milliseconds=first.start)
        stem = f"{module.id:08x}_{at.strftime('%Y%m%dT%H%M%S')}_{at.microsecond:06d}Z_{kind}"
        yield stem, _header(module, first, kind, event), _waveform(module, taps, event)


def _waveform(module: Module, taps: Sequence[Capture], event: SupplyEvent | None) -> Waveform:
    start_us = round(taps[0].start * 1000)
    length = min(len(tap.codes) for tap in taps)
    at_us = start_us + np.arange(length) * STEP / 2
    begun = start_us if event is None else event.start * 1000
    # An event whose end was not seen stands to the end of the capture.
    lasted = np.inf if event is None or event.duration_ms is None else event.duration_ms * 1000
    stands = (at_us >= begun) & (at_us < begun + lasted) & (event is not None)
    station = " ".join(p for p in ("SIMULATED" if module.emulated else "", module.site, module.bed) if p)
    return Waveform(
        station=station or "unnamed",
        device=f"nightkeel {module.id:08x}",
        start_us=start_us,
        trigger_us=min(max(begun, start_us), int(at_us[-1])),
        nominal_hz=module.nominal_hz,
        channels=tuple(_channel(tap, length) for tap in sorted(taps, key=lambda t: t.tap)),
        event=stands,
    )


def _channel(tap: Capture, length: int) -> Channel:
    missing = np.zeros(length, np.bool_)
    for low, high in tap.missing:
        missing[low:high] = True
    a = tap.gain * VOLTS_PER_CODE
    return Channel(
        name=TAP_NAMES[tap.tap], unit="V", a=a, b=-tap.offset * a, codes=tap.codes[:length], missing=missing
    )


def _header(module: Module, first: Capture, kind: str, event: SupplyEvent | None) -> str:
    """Return what a person reads first."""
    lines = [
        "SIMULATED: from an emulated module and an invented supply" if module.emulated else "real module",
        f"capture {first.capture_id}, {kind}; supply_in: before the UPS, supply_out: after it",
        "times are UTC, estimated from the module's clock by the recording host",
    ]
    if event is not None:
        name = tables.SUPPLY_EVENT_KINDS[event.kind]
        lasted = "its end was not seen" if event.duration_ms is None else f"{event.duration_ms} ms"
        lines.append(f"{name} of {TAP_NAMES[event.tap]}, extreme {event.extreme_v:.2f} V, {lasted}")
    return LINE.join(lines)


def count(reader: Reader, modules: Iterable[Module]) -> int:
    """Return how many days `write_comtrade` reports to its progress."""
    return sum(len(_days(reader, module)) for module in modules)


def _days(reader: Reader, module: Module) -> list[tuple[int, int]]:
    span = reader.span(module.id)
    if span is None:
        return []
    day_ms = 86_400_000
    return [(at, at + day_ms) for at in range(span[0] // day_ms * day_ms, span[1] + 1, day_ms)]


def write_comtrade(
    reader: Reader, folder: Path, form: Form = "BINARY", single: bool = False,
    progress: Callable[[int], None] = lambda days: None,
) -> int:  # fmt: skip
    """Write every capture of a store below `folder`; return how many. single: one .cff file each."""
    if folder.exists() and not folder.is_dir():
        raise UserError(f"{folder} is a file; name a folder for the COMTRADE files.")
    folder.mkdir(parents=True, exist_ok=True)
    written = 0
    for module in reader.modules():
        for start, end in _days(reader, module):
            for stem, header, wave in waveforms(reader, module, start, end):
                if single:
                    (folder / f"{stem}.cff").write_bytes(cff_bytes(wave, form, header))
                else:
                    (folder / f"{stem}.cfg").write_bytes(cfg_bytes(wave, form))
                    (folder / f"{stem}.dat").write_bytes(dat_bytes(wave, form))
                    (folder / f"{stem}.hdr").write_bytes((header + LINE).encode())
                written += 1
            progress(1)
    return written
