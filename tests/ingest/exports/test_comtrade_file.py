"""COMTRADE: read back by the independent reader `comtrade`, and by bytes where it looks away.

The reader takes the number of samples from the configuration and ignores short data, wrong record numbers and
time stamps (found by trying): those are asserted here against the layout of IEC 60255-24 (record of
4 + 4 + 2k + 2 ceil(m/16) bytes, little endian, CR/LF; published, facts as quoted).
"""

import struct

import comtrade
import numpy as np
import pytest
from click.testing import CliRunner

from firmware_sim.contract.errors import UserError
from ingest.cli.export import export
from ingest.exports.comtrade_file import (
    Channel,
    Waveform,
    cff_bytes,
    cfg_bytes,
    dat_bytes,
    waveforms,
    write_comtrade,
)
from ingest.store.reader import open_reader
from tests.support.supply_store import START, Supply

RATE = 3200
GAIN = 0.390625 * 16421 / 16384


def wave(samples=3200, missing=(), seed=3):
    codes = np.random.default_rng(seed).integers(-2048, 2048, samples).astype(np.int16)
    other = (codes // 2).astype(np.int16)
    lost = np.zeros(samples, bool)
    for low, high in missing:
        lost[low:high] = True
    none = np.zeros(samples, bool)
    event = np.zeros(samples, bool)
    event[640:2240] = True
    return Waveform(
        station="SIMULATED ward, bed\r\n7", device="nightkeel 59275aab", start_us=1_772_323_799_800_125,
        trigger_us=1_772_323_800_000_125, nominal_hz=50, event=event,
        channels=(
            Channel(name="supply_in", unit="V", a=GAIN, b=-3 * GAIN, codes=codes, missing=lost),
            Channel(name="supply_out", unit="V", a=0.390625, b=-0.0, codes=other, missing=none),
        ),
    )  # fmt: skip


def read(tmp_path, made, form, single):
    """Write a record and read it back by the outside reader, numbers in double precision."""
    reader = comtrade.Comtrade(use_double_precision=True)
    if single:
        (tmp_path / "a.cff").write_bytes(cff_bytes(made, form, "a header"))
        reader.load(str(tmp_path / "a.cff"))
    else:
        (tmp_path / "a.cfg").write_bytes(cfg_bytes(made, form))
        (tmp_path / "a.dat").write_bytes(dat_bytes(made, form))
        reader.load(str(tmp_path / "a.cfg"), str(tmp_path / "a.dat"))
    return reader


@pytest.mark.parametrize("single", [False, True], ids=["cfg-dat", "cff"])
@pytest.mark.parametrize("form", ["ASCII", "BINARY"])
def test_the_independent_reader_gets_every_volt(tmp_path, form, single):
    made = wave()
    got = read(tmp_path, made, form, single)
    assert (got.rev_year, got.ft, got.frequency) == ("2013", form, 50.0)
    assert got.station_name == "SIMULATED ward bed7"
    assert (got.analog_channel_ids, got.status_channel_ids) == (["supply_in", "supply_out"], ["supply_event"])
    assert got.total_samples == 3200
    for n, channel in enumerate(made.channels):
        volts = channel.a * channel.codes.astype(np.float64) + channel.b
        assert np.array_equal(np.array(got.analog[n]), volts)
    assert np.array_equal(np.array(got.status[0], bool), made.event)
    assert np.allclose(got.time, np.arange(3200) / RATE, rtol=0, atol=1e-12)
    assert got.start_timestamp.isoformat() == "2026-03-01T00:09:59.800125"
    assert got.trigger_timestamp.isoformat() == "2026-03-01T00:10:00.000125"


def test_binary_records_have_the_size_number_and_time_that_the_reader_ignores():
    data = dat_bytes(wave(), "BINARY")
    size = 4 + 4 + 2 * 2 + 2 * 1
    assert len(data) == 3200 * size
    for n in (0, 1, 1599, 3199):
        number, stamp, first, second, status = struct.unpack_from("<IIhhH", data, n * size)
        assert (number, stamp * 0.5) == (n + 1, n * 312.5)
        assert (first, second) == (wave().channels[0].codes[n], wave().channels[1].codes[n])
        assert status == int(640 <= n < 2240)


def test_ascii_rows_have_the_number_and_time_that_the_reader_ignores():
    text = dat_bytes(wave(), "ASCII").decode()
    assert text.endswith("\r\n")
    rows = text.split("\r\n")[:-1]
    assert len(rows) == 3200
    for n, row in enumerate(rows):
        number, stamp, *values = row.split(",")
        assert (int(number), float(stamp) * 0.5) == (n + 1, n * 312.5)
        assert len(values) == 3


def test_the_configuration_has_the_lines_of_the_standard():
    text = cfg_bytes(wave(), "BINARY").decode()
    assert "\n" not in text.replace("\r\n", "")
    lines = text.split("\r\n")[:-1]
    assert len(lines) == 14
    assert lines[1] == "3,2A,1D"
    assert [len(line.split(",")) for line in lines[2:5]] == [13, 13, 5]
    assert lines[5:8] == ["50", "1", "3200,3200"]
    assert lines[10:12] == ["BINARY", "0.5"]
    assert float(lines[2].split(",")[5]) == GAIN


def test_the_cff_says_how_many_bytes_follow():
    data = cff_bytes(wave(), "BINARY", "a header")
    head, body = data.split(b"--- file type: DAT BINARY: ")
    size, rest = body.split(b" ---\r\n", 1)
    assert int(size) == len(rest) == 3200 * 14
    assert b"--- file type: CFG ---\r\n" in head
    assert b"--- file type: HDR ---\r\na header\r\n" in head


@pytest.mark.parametrize("form", ["ASCII", "BINARY"])
def test_lost_parts_are_missing_and_not_zero_volts(tmp_path, form):
    made = wave(missing=[(400, 800)])
    data = dat_bytes(made, form)
    if form == "BINARY":
        values = [struct.unpack_from("<h", data, n * 14 + 8)[0] for n in (399, 400, 799, 800)]
        assert values[1:3] == [-0x8000, -0x8000]
        assert -0x8000 not in (values[0], values[3])
    got = np.array(read(tmp_path, made, form, False).analog[0])
    assert np.isnan(got[400:800]).all()
    assert not np.isnan(np.delete(got, slice(400, 800))).any()


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """Two captures: a snapshot, and a dip with an event; the dip's second part of one tap was lost."""
    path = tmp_path_factory.mktemp("captures") / "c.db"
    night = Supply(path, START)
    night.report()
    night.capture(1, 1, 0, 642)
    night.steady(0, 60)
    night.event(7, 0, 10_000, 500, 161.0)
    night.capture(2, 0, 9_800, 3200, event=7, dip=(640, 2240, 0.7))
    night.steady(60, 120)
    night.close()
    return path


def test_a_store_becomes_records_with_trigger_and_event(store):
    with open_reader(store) as reader:
        module = reader.modules()[0]
        made = {stem: (head, one) for stem, head, one in waveforms(reader, module, START, START + 120_000)}
    assert [stem.rsplit("_", 1)[1] for stem in made] == ["snapshot", "event"]
    head, one = list(made.values())[1]
    assert "SIMULATED" in head
    assert "dip of supply_in, extreme 161.00 V, 500 ms" in head
    assert one.station == "SIMULATED invented ward bed 7"
    assert one.start_us == (START + 9_800) * 1000
    assert one.trigger_us == (START + 10_000) * 1000
    assert (int(one.event.argmax()), int(one.event.sum())) == (640, 1600)


@pytest.mark.parametrize(("single", "files"), [(False, 6), (True, 2)])
def test_the_command_writes_every_capture(store, tmp_path, single, files):
    out = tmp_path / "out"
    args = ["--store", str(store), "--comtrade", str(out), *(["--cff"] if single else [])]
    result = CliRunner().invoke(export, args)
    assert result.output == f"2 captures below {out}. SIMULATED\n"
    assert len(list(out.iterdir())) == files
    for path in sorted(out.glob("*.cff" if single else "*.cfg")):
        got = comtrade.load(str(path), use_double_precision=True)
        assert got.total_samples in (642, 3200)
        assert max(got.analog[0]) == pytest.approx(231 * np.sqrt(2), rel=0.08)


def test_options_without_their_folder_and_a_file_in_its_place_are_refused(store, tmp_path):
    result = CliRunner().invoke(export, ["--store", str(store), "--cff", "--parquet", str(tmp_path / "p")])
    assert isinstance(result.exception, UserError)
    (tmp_path / "x").write_text("")
    with open_reader(store) as reader, pytest.raises(UserError, match="is a file"):
        write_comtrade(reader, tmp_path / "x")
