"""The reader against plain loops over what was written: times, reductions, joins, marks."""

import random
import time

import numpy as np
import pytest

from firmware_sim.contract import alarms, messages
from ingest.errors import UserError
from ingest.pipeline import this_contract
from ingest.records import Batch, ClockFit, Hello, Session
from ingest.store.annotations import Annotations, open_annotations
from ingest.store.reader import QUANTITIES, open_reader
from ingest.store.schema import LEVELS
from ingest.store.writer import Writer
from tests.support.module_double import ModuleDouble

UTC = 1_700_000_000_000
MODULE = 7
CODE = {name: code for code, name in enumerate(alarms.TRANSITIONS)}


def hello(boot_id):
    return Hello(module=MODULE, boot_id=boot_id, revision=1, digest_low=1, digest_high=2, nonce_low=0,
                 nonce_high=0, emulated=True, profile=1, firmware="test", oldest_seq=1, next_seq=1, tick=0,
                 module_utc=0, nominal_v=230, nominal_hz=50)


class Bed:
    """A store and the module that fills it, second by second."""

    def __init__(self, path):
        self.path = path
        self.writer = Writer(path, UTC)
        self.module = ModuleDouble(this_contract())
        self.done = 0
        self.utc = UTC
        self.boot = self.open_boot(1)

    def open_boot(self, boot_id):
        return self.writer.open_boot(hello(boot_id), self.utc).boot

    def restart(self, boot_id, after_ms):
        self.utc += self.module.tick + after_ms
        self.module.reboot(boot_id)
        self.done = 0
        self.boot = self.open_boot(boot_id)

    def seconds(self, count):
        for _ in range(count):
            self.module.second()

    def put(self, message_id, values, tail=None):
        return self.module.put(message_id, values, tail)

    def commit(self, fits=()):
        records = {}
        for seq in range(self.done + 1, self.module.next_seq):
            message_id, tick, payload = self.module.made[seq]
            records.setdefault(message_id, []).append((seq, tick, payload))
        self.done = self.module.next_seq - 1
        self.writer.commit(
            [
                Batch(
                    boot=self.boot,
                    last_seq=self.done,
                    last_tick=self.module.tick,
                    records=records,
                    fits=fits,
                    session=Session(
                        link="test",
                        opened_utc=UTC,
                        seen_utc=self.utc + self.module.tick,
                        closed_utc=None,
                        reason="",
                        counters={},
                    ),
                )
            ]
        )


@pytest.fixture
def bed(tmp_path):
    made = Bed(tmp_path / "s.db")
    yield made
    made.writer.close()


def alarm(bed, name, transition, row=3, priority=2):
    bed.put(messages.ALARM, (row, CODE[transition], priority, 0, 100, 90, None))
    return (name, bed.module.tick)


def test_reduced_trends_keep_every_minimum_and_maximum(bed):
    """Against a loop over the written seconds, at widths from one second to the whole."""
    luck = random.Random(4)
    for _ in range(1500):
        bed.seconds(1)
        if luck.random() < 0.01:
            bed.module.tick += luck.randrange(1000, 60_000, 1000)
    bed.commit()
    plain = {}
    for message_id, tick, payload in bed.module.made.values():
        if message_id == messages.TREND:
            values, _ = messages.decode(message_id, payload)
            plain[tick] = values
    start, end = UTC, UTC + bed.module.tick
    with open_reader(bed.path) as reader:
        for pixels in (None, 2000, 300, 37, 5, 1):
            view = reader.trends(MODULE, start, end, ["supply_in", "frequency_out", "oxygen"], pixels)
            assert view.count.sum() == len(plain)
            assert np.all(np.diff(view.t) > 0)
            seen = 0
            for place, middle in enumerate(view.t):
                low, high = middle - view.width_ms / 2, middle + view.width_ms / 2
                inside = [row for tick, row in plain.items() if low <= UTC + tick - 500 < high]
                assert view.count[place] == len(inside)
                seen += len(inside)
                assert view.minimum["supply_in"][place] == min(row[1] for row in inside) / 100
                assert view.maximum["supply_in"][place] == max(row[2] for row in inside) / 100
                assert view.mean["supply_in"][place] == pytest.approx(
                    sum(row[0] for row in inside) / len(inside) / 100
                )
                assert np.isnan(view.mean["frequency_out"][place])
            assert seen == len(plain)


def test_an_unknown_quantity_is_our_own_mistake(bed):
    with open_reader(bed.path) as reader, pytest.raises(KeyError):
        reader.trends(MODULE, 0, 1, ["inspired_oxygen"])


def test_a_year_takes_at_most_ten_times_a_night(tmp_path):
    """The levels carry it: roll-ups of a year are laid down directly, as the writer would."""
    writer = Writer(tmp_path / "year.db", UTC)
    boot = writer.open_boot(hello(1), UTC).boot
    year = 365 * LEVELS["day"]
    with writer.transaction() as connection:
        for level, width in LEVELS.items():
            rows = [
                (
                    ((boot << 32) | bucket),
                    width // 1000,
                    *(
                        part
                        for _ in QUANTITIES
                        for part in (bucket % 50, 100 + bucket % 50, 60 * width // 1000, width // 1000)
                    ),
                )
                # Of the minutes only a day is laid down: no view of a year looks at them.
                for bucket in range((LEVELS["day"] if level == "minute" else year) // width)
            ]
            connection.executemany(
                f"INSERT INTO rollup_{level} VALUES ({', '.join('?' * (2 + 4 * len(QUANTITIES)))})", rows
            )
        connection.execute("UPDATE boot SET last_tick = ?, last_seq = 1", (year,))
        connection.execute("INSERT INTO run VALUES (?, 1000, ?)", (boot, year))
    writer.close()
    with open_reader(tmp_path / "year.db") as reader:
        night, whole = (
            min(
                _timed(lambda width=width: reader.trends(MODULE, UTC, UTC + width, None, 1200))
                for _ in range(5)
            )
            for width in (12 * 3_600_000, year)
        )
        print(f"a night {night * 1e3:.1f} ms, a year {whole * 1e3:.1f} ms")
        assert whole < 10 * night
        view = reader.trends(MODULE, UTC, UTC + year, ["pressure"], 1200)
        assert len(view.t) <= 1200
        assert view.count.sum() == year // 1000
        assert view.minimum["pressure"].min() == 0
        assert _timed(lambda: reader.nights(MODULE)) < 1


def _timed(action):
    began = time.perf_counter()
    action()
    return time.perf_counter() - began


def test_alarm_intervals_from_their_transitions(bed):
    bed.seconds(10)
    alarm(bed, "a", "raised", row=3)
    bed.seconds(10)
    alarm(bed, "b", "raised", row=5, priority=3)
    alarm(bed, "pause", "audio_paused", row=255)
    alarm(bed, "a", "acknowledged", row=3)
    bed.seconds(10)
    alarm(bed, "a", "cleared", row=3)
    alarm(bed, "b", "latched", row=5)
    bed.seconds(10)
    alarm(bed, "b", "cleared", row=5)
    alarm(bed, "c", "raised", row=9)
    bed.commit()
    bed.restart(2, after_ms=60_000)
    bed.seconds(5)
    alarm(bed, "c", "restored", row=9)
    bed.commit()
    with open_reader(bed.path) as reader:
        start, end = reader.span(MODULE)
        found = reader.alarms(MODULE, start, end + 1)
        short = [
            (one.row, one.start - UTC, None if one.end is None else one.end - UTC, one.cut) for one in found
        ]
        assert short == [
            (3, 10_000, 30_000, False),
            (5, 20_000, 40_000, False),
            (9, 40_000, 40_000, True),
            (9, 105_000, None, True),
        ]
        assert found[0].acknowledged == UTC + 20_000
        assert (found[1].priority, found[1].gone) == (3, UTC + 30_000)
        # One that began before the window and ended after it is there whole.
        assert [one.row for one in reader.alarms(MODULE, UTC + 24_000, UTC + 25_000)] == [3, 5]
        assert [one.row for one in reader.latest(MODULE).standing] == [9]
        assert [one.transition for one in reader.alarm_transitions(MODULE, UTC, UTC + 20_001)] == [
            CODE["raised"],
            CODE["raised"],
            CODE["audio_paused"],
            CODE["acknowledged"],
        ]


def test_supply_events_are_joined_and_found_from_inside(bed):
    bed.seconds(5)
    begun = bed.module.tick - 120
    bed.put(messages.SUPPLY_EVENT, (1, 0, 0, 0, begun, 0, 18000, 0))
    bed.seconds(50)
    bed.put(messages.SUPPLY_EVENT, (1, 0, 0, 1, begun, 47_000, 15050, 3))
    bed.seconds(5)
    bed.put(messages.SUPPLY_EVENT, (2, 1, 2, 0, bed.module.tick, 0, 100, 0))
    bed.commit()
    with open_reader(bed.path) as reader:
        first, second = reader.supply_events(MODULE, UTC, UTC + 100_000)
        assert (first.event_id, first.start - UTC, first.duration_ms, first.extreme_v) == (
            1,
            begun,
            47_000,
            150.5,
        )
        assert (second.tap, second.kind, second.duration_ms) == (1, 2, None)
        inside = reader.supply_events(MODULE, UTC + 20_000, UTC + 21_000)
        assert [one.event_id for one in inside] == [1]


def test_captures_are_put_together_and_say_when_they_are_not_whole(bed):
    bed.seconds(2)
    for capture_id, missing in ((1, None), (2, 0), (3, 1)):
        for part in range(3):
            tick, micros = divmod(500_125 + part * 125_000, 1000)
            codes = [capture_id * 100 + part * 10 + i for i in range(400 if part < 2 else 60)]
            if part != missing:
                bed.put(messages.CAPTURE, (capture_id, None, 0, 1, part, 3, tick, micros, 16384, 5), codes)
    bed.commit()
    with open_reader(bed.path) as reader:
        found = reader.captures(MODULE, UTC, UTC + 10_000)
    assert [one.complete for one in found] == [True, False, False]
    for one in found:
        assert one.start == pytest.approx(UTC + 500.125)
        assert len(one.codes) == 860
    assert found[0].codes[401] == 111
    # 0.390625 V a code: 1600 V over 4096 codes.
    assert found[0].volts[0] == pytest.approx((100 - 5) * 0.390625)
    assert not found[1].codes[:400].any()


def test_settings_come_in_parts_and_are_in_force_from_their_last(bed):
    for version, value in ((1, 10), (2, 20)):
        bed.seconds(10)
        for part in range(2):
            bed.put(messages.SETTINGS, (version, value, part, 2, part * 60), [value + part] * 60)
    bed.seconds(1)
    bed.commit()
    with open_reader(bed.path) as reader:
        assert reader.settings_at(MODULE, UTC + 5_000).version == 1
        in_force = reader.settings_at(MODULE, UTC + 25_000)
        assert (in_force.version, in_force.since, len(in_force.values)) == (2, UTC + 20_000, 120)
        assert in_force.values[59:61] == (20, 21)


def test_the_wave_keeps_its_gaps(bed):
    bed.seconds(3)
    bed.module.tick += 5000
    bed.seconds(2)
    bed.commit()
    with open_reader(bed.path) as reader:
        wave = reader.wave(MODULE, UTC, UTC + 20_000)
    assert len(wave.t) == 500
    assert wave.t[0] == UTC
    assert sorted(set(np.diff(wave.t))) == [10, 5010]
    assert wave.value[1] == pytest.approx(((1 * 7 + 13) % 2500) / 100)


def test_a_corrected_clock_moves_labels_and_marks_but_no_order(bed):
    """The host believed to be a day ahead; corrected in the middle, everything of the boot moves together."""
    bed.seconds(100)
    ahead = 86_400_000
    bed.commit(
        fits=(
            ClockFit(tick=50_000, utc0=UTC + ahead, rate_ppb=0, residual_ms=0, module_utc=None, step=False),
        )
    )
    alarm(bed, "a", "raised")
    marks = Annotations(bed.writer)
    mark = marks.add(
        module=MODULE, utc=UTC + ahead + 40_000, kind="note", author="A.B.", text="tube moved", now=1
    )
    with open_reader(bed.path) as reader:
        assert reader.span(MODULE) == (UTC + ahead, UTC + ahead + 100_000)
    bed.seconds(100)
    bed.commit(
        fits=(ClockFit(tick=150_000, utc0=UTC, rate_ppb=0, residual_ms=0, module_utc=None, step=True),)
    )
    with open_reader(bed.path) as reader:
        assert reader.span(MODULE) == (UTC, UTC + 200_000)
        assert [one.utc for one in reader.marks(MODULE)] == [UTC + 40_000]
        wave = reader.wave(MODULE, UTC, UTC + 200_000)
        assert np.all(np.diff(wave.t) == 10)
        assert reader.mark_history(mark)[0].text == "tube moved"


def test_a_drifting_boot_is_read_by_its_own_clock(bed):
    bed.seconds(1000)
    bed.commit(
        fits=(ClockFit(tick=1, utc0=UTC, rate_ppb=100_000, residual_ms=0, module_utc=None, step=False),)
    )
    with open_reader(bed.path) as reader:
        (boot,) = reader.boots(MODULE)
        for tick in (0, 1, 999_999, 12 * 3_600_000):
            assert abs(boot.tick(boot.utc(tick)) - tick) <= 1
        assert reader.span(MODULE)[1] == UTC + 1_000_000 + 100


def test_nights_are_listed_from_noon_to_noon(bed):
    noon = (UTC // 86_400_000) * 86_400_000 + 43_200_000
    bed.commit(
        fits=(
            ClockFit(tick=0, utc0=noon - 3_600_000, rate_ppb=0, residual_ms=0, module_utc=None, step=False),
        )
    )
    for _ in range(3):
        bed.module.tick += 3_000_000
        bed.seconds(2)
    bed.commit()
    with open_reader(bed.path) as reader:
        nights = reader.nights(MODULE)
        assert [(one.start, one.monitored_ms) for one in nights] == [(noon - 86_400_000, 2000), (noon, 4000)]
        # Local time five hours ahead of UTC: the whole of it falls after local noon.
        assert len(reader.nights(MODULE, offset_ms=5 * 3_600_000)) == 1


def test_marks_have_a_history_and_are_found_by_their_words(bed):
    bed.seconds(20)
    bed.commit()
    marks = Annotations(bed.writer)
    first = marks.add(module=MODULE, utc=UTC + 1000, kind="suction", author="A.B.", text="thick", now=1)
    second = marks.add(
        module=MODULE,
        utc=UTC + 2000,
        kind="reading",
        author="A.B.",
        text="",
        now=2,
        data={"spo2_percent": 94},
    )
    assert marks.change(first, author="C.D.", text="thin", now=3) == 2
    marks.remove(second, author="C.D.", now=4)
    with pytest.raises(UserError, match="no mark"):
        marks.change(second, author="C.D.", text="back", now=5)
    with pytest.raises(UserError, match="initials"):
        marks.add(module=MODULE, utc=UTC, kind="note", author=" ", text="x", now=6)
    with open_reader(bed.path) as reader:
        assert [(one.text, one.version) for one in reader.marks(MODULE)] == [("thin", 2)]
        assert [one.mark for one in reader.marks(text="thi")] == [first]
        assert reader.marks(kind="reading") == []
        assert [(one.removed, one.author) for one in reader.mark_history(second)] == [
            (False, "A.B."),
            (True, "C.D."),
        ]
        assert reader.mark_history(second)[0].data == {"spo2_percent": 94}


def test_marks_without_a_daemon_take_the_lock_for_a_moment(tmp_path):
    path = tmp_path / "s.db"
    Writer(path, UTC).close()
    with open_annotations(path, UTC) as marks:
        marks.add(module=1, utc=UTC, kind="note", author="A", text="x", now=UTC)
    holder = Writer(path, UTC)
    with pytest.raises(UserError, match="written by another process"), open_annotations(path, UTC):
        pass
    holder.close()


def test_finding_the_first_row_of_a_time(bed):
    """Bisection against a plain search, with uneven steps between the rows."""
    luck = random.Random(8)
    for _ in range(200):
        bed.module.tick += luck.choice((0, 0, 1000, 7000))
        bed.put(messages.BREATH, (0, 2200, None, 500, 900, 450, 1000, 3000, 1500, 0))
    bed.commit()
    rows = [(seq, tick) for seq, (_, tick, _) in bed.module.made.items()]
    with open_reader(bed.path) as reader:
        (boot,) = reader.boots(MODULE)
        for tick in range(0, bed.module.tick + 3000, 500):
            plain = next((seq for seq, at in rows if at >= tick), len(rows) + 1)
            got = reader.base.first_id("breath", boot, tick) & 0xFFFFFFFF
            # Any id in the empty stretch before the first row serves as well.
            before = max((seq for seq, at in rows if at < tick), default=0)
            assert before < got <= plain
