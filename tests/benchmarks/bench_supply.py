"""Time the power-quality analysis: 12 h of raw waveform against a plain script, and the study of a year.

The plain script does the same work with numpy and scipy alone, vectorised over 10 min at a time: crossings by
a zero-phase filter, one-cycle rms by running sums, dips, 10-cycle rms and spectra resampled linearly, flicker
by second-order sections at the full rate. CPU time of one thread; the waveform is made outside the clock.
"""

import tempfile
from datetime import UTC
from pathlib import Path
from time import process_time

import numpy as np
import pandas as pd
from run import Row
from scipy import signal

from ingest.analysis.supply import flicker, study
from ingest.analysis.supply.records import SupplyEvent, TenMinutes
from ingest.analysis.supply.wave import WaveSettings, analyse, wave_start
from ingest.analysis.supply.windows import Tap

RATE_HZ, LSB_V, TEN_MIN_S = 3200, 0.390625, 600.0
TAP = Tap(rate_hz=RATE_HZ, gain_v=LSB_V, code_min=-2048, code_max=2047)


def ten_minutes_of_codes(seed):
    """Make 10 min of a noisy, slightly off-frequency mains with harmonics and a few dips."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(RATE_HZ * TEN_MIN_S)) / RATE_HZ
    angle = 2 * np.pi * 50.03 * time
    wave = 325 * (np.sin(angle) + 0.03 * np.sin(3 * angle) + 0.04 * np.sin(5 * angle))
    for begin in rng.uniform(10, 590, 3):
        wave[(time >= begin) & (time < begin + 0.3)] *= 0.7
    return np.clip(np.rint((wave + rng.normal(0, 0.5, len(wave))) / LSB_V), -2048, 2047).astype(np.int16)


def plain_edges(volts):
    """Find crossings of the band-passed wave, interpolated."""
    band = signal.butter(2, [30, 70], "band", fs=RATE_HZ, output="sos")
    smooth = signal.sosfiltfilt(band, volts)
    at = np.flatnonzero((smooth[:-1] < 0) != (smooth[1:] < 0))
    return at + smooth[at] / (smooth[at] - smooth[at + 1])


def plain_script(codes):
    """Analyse one block; return half-cycle rms, dips, 10-cycle rms, subgroups and Pst."""
    volts = codes * LSB_V
    edges = plain_edges(volts)
    area = np.concatenate(([0.0], np.cumsum(volts**2)))
    at_edges = np.interp(edges + 0.5, np.arange(len(area)), area)
    half_cycle = np.sqrt((at_edges[2:] - at_edges[:-2]) / (edges[2:] - edges[:-2]))
    dips = np.flatnonzero(np.diff((half_cycle < 207).astype(int)) == 1)
    ten = edges[::20]
    ten_rms = np.sqrt(np.diff(at_edges[::20]) / np.diff(ten))
    place = ten[:-1, None] + np.diff(ten)[:, None] * np.arange(640) / 640
    bins = np.abs(np.fft.rfft(np.interp(place, np.arange(len(volts)), volts), axis=1)) ** 2
    orders = 10 * np.arange(1, 26)
    subgroups = np.sqrt(bins[:, orders - 1] + bins[:, orders] + bins[:, orders + 1]) * np.sqrt(2) / 640
    relative = volts**2 / np.mean(volts**2) - 1
    seen = signal.sosfilt(flicker.sections(flicker.LAMP_230_V, RATE_HZ), relative) ** 2
    factor = 1 - np.exp(-1 / (0.3 * RATE_HZ))
    pinst = signal.lfilter([factor], [1, factor - 1], seen)
    return half_cycle, dips, ten_rms, subgroups, flicker.pst_of(pinst[60 * RATE_HZ :])


def ours(blocks):
    """Analyse blocks one after the other; return CPU seconds and findings of the last."""
    settings = WaveSettings(tap=TAP, declared_v=230.0)
    analyse(wave_start(settings, 0.0), blocks[0][:RATE_HZ], settings)
    state, spent, found = wave_start(settings, 0.0), 0.0, None
    for block in blocks:
        begin = process_time()
        state, found = analyse(state, block, settings)
        spent += process_time() - begin
    return spent, found


def a_year():
    """Make a year of 10-min values and 20 000 events."""
    rng = np.random.default_rng(3)
    count = 365 * 144
    rms = 228 + rng.normal(0, 8, count)
    table = TenMinutes(
        start_s=600.0 * np.arange(count),
        rms_v=rms,
        low_v=rms - 5,
        high_v=rms + 5,
        frequency_hz=50 + rng.normal(0, 0.1, count),
        flagged=np.zeros(count, bool),
        coverage=np.ones(count),
    )
    events = tuple(
        SupplyEvent(
            kind="dip",
            start_s=start,
            start_end_s=start + 0.02,
            back_s=start + length,
            back_end_s=start + length + 0.02,
            extreme_v=230 * level,
            reference_v=230.0,
        )
        for start, length, level in zip(
            np.sort(rng.uniform(0, 365 * 86400, 20000)).tolist(),
            (10 ** rng.uniform(-1.7, 3, 20000)).tolist(),
            rng.uniform(0, 0.9, 20000).tolist(),
            strict=True,
        )
    )
    return study.Record(
        begin_s=0.0, end_s=365 * 86400.0, nominal_v=230.0, nominal_hz=50.0, ten_minutes=table, events=events
    )


def frames_of(record):
    """Return the year as a plain script would have it: 10-min values and events as tables."""
    ten = record.ten_minutes
    stamps = pd.to_datetime(ten.start_s, unit="s", utc=True)
    values = pd.DataFrame(
        {"rms": ten.rms_v, "low": ten.low_v, "high": ten.high_v, "hz": ten.frequency_hz}, stamps
    )
    events = pd.DataFrame({
        "start": pd.to_datetime([event.start_s for event in record.events], unit="s", utc=True),
        "length": [event.duration_s for event in record.events],
        "residual": [event.extreme_v / event.reference_v for event in record.events],
    })  # fmt: skip
    return values, events


def plain_study(values, events):
    """Study the year in a page of pandas: what both can be asked, without intervals, gaps or calibrations."""
    inside = values["rms"].between(207.0, 253.0)
    weeks = inside.groupby(np.arange(len(values)) // 1008).mean() * 100
    always = values["rms"].between(195.5, 253.0).groupby(np.arange(len(values)) // 1008).mean() * 100
    curve = values["rms"].quantile(np.linspace(0, 1, 101))
    histogram = np.histogram(values["rms"], bins=60)
    steady = values["hz"].between(49.5, 50.5).mean() * 100
    rows = pd.cut(events["residual"], [0, 0.05, 0.4, 0.7, 0.8, 0.9], right=False, labels=list("XDCBA"))
    columns = pd.cut(events["length"], [0.01, 0.2, 0.5, 1, 5, 60], include_lowest=True, labels=list("12345"))
    dips = pd.crosstab(rows, columns)
    sarfi = {limit: int((events["residual"] < limit / 100).sum()) for limit in (90, 80, 70, 50, 10)}
    energy = float(((1 - events["residual"] ** 2) * events["length"]).sum())
    required = np.select([events["length"] <= 0.2, events["length"] <= 0.5, events["length"] <= 10],
                         [0.5, 0.7, 0.8], 0.9)  # fmt: skip
    severity = ((1 - events["residual"]) / (1 - required)).max()
    week = events.groupby([events["start"].dt.dayofweek, events["start"].dt.hour]).size().unstack()
    between = events["start"].diff().dt.total_seconds().describe()
    outside = 100 * (1 - inside.mean())
    return outside, dips, sarfi, energy, severity, (weeks, always, curve, histogram, steady, week, between)


def study_row():
    """Study a year with both; their answers must agree."""
    record = a_year()
    values, events = frames_of(record)
    study.study(record)
    begin = process_time()
    ours = study.study(record)
    spent = process_time() - begin
    begin = process_time()
    outside, dips, sarfi, energy, *_ = plain_study(values, events)
    plain = process_time() - begin
    assert abs(ours.outside.value - outside) < 1e-6
    assert {cell: int(dips.loc[cell[0], cell[1]]) for cell in ours.dips if cell != "outside"} == {
        cell: count for cell, count in ours.dips.items() if cell != "outside"
    }
    assert all(ours.sarfi[float(limit)] == count for limit, count in sarfi.items())
    assert abs(ours.sag_energy_s / energy - 1) < 1e-9
    name = "study of one year, 20 000 events, all figures with intervals, against a page of pandas without"
    return Row(name, spent, "s", "5", plain / spent)


def store_row(folder, quick):
    """Study a store of a year (quick: a month): read, compute, write all tables, as the command does."""
    from dashboard.reports.study_data import site_of
    from dashboard.reports.study_report import case_of, write_tables
    from ingest.store.reader import open_reader
    from tests.support.year_store import MINUTES, MONTH, START, write_year

    minutes = MONTH if quick else MINUTES
    path = write_year(folder / "year.db", minutes, round(20_000 * minutes / MINUTES))
    for _ in range(2):
        # The first time compiles.
        begin = process_time()
        with open_reader(path) as reader:
            site = site_of(reader, reader.modules()[0], START, START + 60_000 * minutes, zone=UTC)
        case = case_of(site)
        write_tables(case, folder / "tables")
        spent = process_time() - begin
    assert case.study.coverage_percent > 99.0
    events = f"{len(site.record.events):,}".replace(",", " ")
    name = f"study of a store of {minutes / 1440:g} days, {events} events, all tables written"
    return Row(name, spent, "s", "5")


def rows(quick):
    """Yield the figures."""
    made = [ten_minutes_of_codes(seed) for seed in range(2 if quick else 12)]
    blocks = made if quick else made * 6
    spent, found = ours(blocks)
    begin = process_time()
    for block in made:
        half_cycle, *_ = plain_script(block)
    plain = (process_time() - begin) / len(made)
    assert abs(np.median(half_cycle) - np.median(found.half_cycles.rms_v)) < 0.05, "the two must agree"
    speed = len(blocks) * TEN_MIN_S / spent
    name = f"raw 3.2 kS/s waveform, {len(blocks) / 6:g} h, all stages, against numpy and scipy alone"
    yield Row(name, speed, "x real time", "2000", plain * len(blocks) / spent)
    yield study_row()
    with tempfile.TemporaryDirectory() as folder:
        yield store_row(Path(folder), quick)
