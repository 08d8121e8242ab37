"""World, board and firmware together: the same night however it is played, and nothing lost on the way."""

import pytest

from firmware_sim.contract import alarms, channels, commands, digest, log_codes
from firmware_sim.contract import messages as m
from firmware_sim.core import ring
from tests.support.host import Host

KEPT_BY_SMALL = {m.TREND, m.BREATH, m.ALARM, m.LOG, m.SETTINGS, m.SUPPLY_EVENT, m.CAPTURE, m.HALF_CYCLES}


def alarm_rows(host, name):
    """Return (tick, transition name) of a row."""
    return [
        (tick, alarms.TRANSITIONS[values[1]])
        for tick, values, _ in host.of(m.ALARM)
        if values[0] < alarms.COUNT and alarms.ROWS[values[0]].name == name
    ]


def logged(host, code):
    return [(tick, values[1:]) for tick, values, _ in host.of(m.LOG) if values[0] == code]


def of_kinds(host, kinds):
    return [(kind, tick, payload) for kind, _, tick, payload in host.records if kind in kinds]


def test_how_the_night_is_cut_into_runs_changes_no_byte(bed):
    whole = bed().named().rig.run(600)
    other = bed(ahead_steps=7).named()
    parts = b"".join(other.rig.run(steps) for steps in [1, 2, 3, 94, 300, 7, 193])
    assert whole == parts
    assert len(whole) > 10_000


def test_another_seed_is_another_night(bed):
    assert bed(seed=6).named().rig.run(300) != bed(seed=7).named().rig.run(300)


def test_every_second_brings_its_records_and_the_link_is_hardly_loaded(bed):
    played = bed().play(120)
    host = played.host
    assert host.bad == host.duplicates == host.ahead == 0
    for kind in (m.TREND, m.PRESSURE_WAVE, m.SUPPLY_CYCLES, m.INPUTS):
        ticks = [tick for tick, *_ in host.of(kind)]
        assert ticks == list(range(1000, 120_001, 1000))
    assert len(host.of(m.BREATH)) == pytest.approx(2 * 14, abs=2)
    # 230400 baud carry 23040 bytes a second.
    assert len(played.up) / 120 < 0.04 * 23_040


def test_raw_codes_go_up_each_ten_seconds(bed):
    host = bed().play(22).host
    rows = [(tick, values[0], tail) for tick, values, tail in host.of(m.RAW)]
    assert [(tick, seconds) for tick, seconds, _ in rows] == [(1000, 1), (11_000, 10), (21_000, 10)]
    codes = rows[1][2]
    mean, low, high = (part / 8 for part in codes[:3])
    # 230 V are 832 codes at the crest of a sine (800 V are 2048); the world's mains is a little distorted.
    assert abs(mean) < 4 and 750 < high < 900 and -900 < low < -750
    assert codes[3 * channels.PRODUCT_PRESSURE] == -32768


def test_unplugging_for_ten_minutes_loses_nothing_on_the_large_board(bed, event):
    faults = [event(60, "mains", "dip", residual_pct=60, duration_s=0.3)]
    faults += [event(200, "circuit", "disconnect", duration_s=30.0)]
    played = bed(*faults, event(50, "link", "unplug", duration_s=600.0)).play(720)
    quiet = bed(*faults).play(720)
    assert played.host.hello[9] == 1 or played.host.hellos > 1
    assert [seq for _, seq, *_ in played.host.records] == list(range(1, played.host.expected))
    assert not played.host.of(m.LOST)
    same = {m.TREND, m.PRESSURE_WAVE, m.SUPPLY_CYCLES, m.BREATH, m.CAPTURE, m.HALF_CYCLES, m.SUPPLY_EVENT}
    assert of_kinds(played.host, same) == of_kinds(quiet.host, same)
    assert played.rig.board.profile.name == "large"


def test_the_small_board_keeps_all_but_samples_and_says_what_it_lost(bed, event):
    faults = [event(60, "mains", "dip", residual_pct=60, duration_s=0.3)]
    faults += [event(200, "circuit", "disconnect", duration_s=30.0)]
    played = bed(*faults, event(50, "link", "unplug", duration_s=600.0), profile="small").play(720)
    quiet = bed(*faults).play(720)
    host = played.host
    alarm_and_log = {m.ALARM, m.LOG}
    assert of_kinds(host, KEPT_BY_SMALL - alarm_and_log) == of_kinds(
        quiet.host, KEPT_BY_SMALL - alarm_and_log
    )
    assert set(of_kinds(quiet.host, {m.ALARM})) <= set(of_kinds(host, {m.ALARM}))
    lost = [values for _, values, _ in host.of(m.LOST)]
    assert lost, "96 kB can't hold ten minutes of waves"
    samples = sum(1 << (kind - 16) for kind, rank in ring.CLASS_OF.items() if rank == ring.SAMPLES)
    assert all(values[3] & ~samples == 0 for values in lost)
    missing = {seq for values in lost for seq in range(values[0], values[1] + 1)}
    assert len(missing) == sum(values[2] for values in lost)
    # The last wave before the plug went in again is there.
    waves = [tick for tick, *_ in host.of(m.PRESSURE_WAVE)]
    assert set(range(630_000, 720_001, 1000)) <= set(waves)


def test_a_reset_comes_back_armed_with_mode_and_limits(bed, event):
    played = bed(
        event(5, "person", "set_mode", mode="hand"),
        event(60, "person", "confirm_limits"),
        event(90, "board", "reset"),
    ).play(100)
    assert len(played.host.lives) == 2
    before, after = played.host.lives
    played.host.records = before
    typical = [values for _, values, tail in played.host.of(m.TREND)][-1]
    played.host.records = after
    again = [values for _, values, tail in played.host.of(m.TREND)][-1]
    mode = m.field_names(m.TREND).index("mode")
    assert typical[mode] == again[mode] == channels.MODE_HAND
    assert again[m.field_names(m.TREND).index("flags")] & m.FLAG_LIMITS_UNCONFIRMED == 0
    assert logged(played.host, log_codes.POWER_UP)[0][1] == (2, 0)
    assert played.host.of(m.TREND)[0][0] == 1000


@pytest.mark.parametrize(("off_s", "confirm"), [(20, False), (29, False), (32, True), (90, True)])
def test_limits_wait_for_confirmation_after_more_than_30_s_without_power(bed, event, off_s, confirm):
    # 30 s: IEC 60601-1-8, 6.5, from memory.
    played = bed(event(60, "person", "confirm_limits"), event(70, "board", "power_cut", duration_s=off_s))
    played.play(75 + off_s)
    host = played.host
    cause, off_time = logged(host, log_codes.POWER_UP)[0][1]
    assert cause == 0 and abs(off_time - off_s) <= 1
    assert bool(alarm_rows(host, "limits_unconfirmed")) == confirm


def test_a_hung_firmware_is_reset_by_the_watchdog(bed):
    played = bed().play(10)
    played.rig.board.hung = True
    played.play(5)
    assert logged(played.host, log_codes.POWER_UP)[0][1] == (1, 0)
    assert played.rig.resets == 1
    assert played.rig.boot_steps == [0, 120]


@pytest.mark.parametrize("after", [0, 1, 500, 4096, 4100, 4500])
def test_a_torn_flash_keeps_the_old_settings_or_the_new(bed, event, after):
    played = bed(
        event(5, "person", "set_mode", mode="hand"),
        event(10, "board", "flash_tear", after_bytes=after, duration_s=5.0),
        event(11, "person", "set_mode", mode="spontaneous"),
    ).play(30)
    assert len(played.host.lives) == 2
    mode = m.field_names(m.TREND).index("mode")
    now = played.host.of(m.TREND)[-1][1][mode]
    assert now in (channels.MODE_HAND, channels.MODE_SPONTANEOUS)
    assert not alarm_rows(played.host, "memory_fault")


def test_persons_and_host_may_both_command(bed, event):
    played = bed(event(5, "person", "set_mode", mode="hand"), event(20, "person", "set_mode", mode="standby"))
    played.play(10)
    host = played.host
    for seq, unix_s in [(9, 1), (9, 2), (7, 3)]:
        values = (host.hello[3], seq, unix_s, commands.ASK_SETTINGS, 1, 0)
        played.rig.send(host.frame(m.COMMAND, values, b""))
    played.play(15)
    results = [(values[0], values[1], values[2]) for _, values, _ in host.of(m.COMMAND_RESULT)]
    assert results == [
        (1, commands.SET_MODE, commands.DONE),
        (9, commands.ASK_SETTINGS, commands.DONE),
        (9, commands.ASK_SETTINGS, commands.REPLAYED),
        (7, commands.ASK_SETTINGS, commands.REPLAYED),
        (10, commands.SET_MODE, commands.DONE),
    ]


def test_a_host_of_another_contract_may_listen_but_not_command(bed):
    played = bed()
    played.host.digest = (1, 2)
    played.play(5)
    values = (played.host.hello[3], 1, 0, commands.SET_MODE, 1, 0)
    played.rig.send(played.host.frame(m.COMMAND, values, bytes([channels.MODE_STANDBY])))
    played.play(5)
    assert [values[2] for _, values, _ in played.host.of(m.COMMAND_RESULT)] == [commands.REFUSED]
    assert played.host.of(m.TREND)[-1][1][16] == channels.MODE_VENTILATOR


def test_a_shared_key_is_kept_by_persons_and_host(bed, event):
    played = bed(event(20, "person", "set_mode", mode="hand"), key=b"sixteen bytes key").play(30)
    assert [values[2] for _, values, _ in played.host.of(m.COMMAND_RESULT)] == [commands.DONE]
    assert played.rig.runtime.app.ring.acked > 50
    # Person and host count in one sequence: an acknowledgement may fall behind the person's command.
    bad = played.rig.runtime.app.link.bad
    assert bad <= 1
    played.play(1, answer=False)
    stranger = Host(digest.digest())
    stranger.hello = played.host.hello
    before = played.rig.runtime.app.ring.acked
    stranger.expected = before + 3
    played.rig.send(stranger.ack())
    played.play(1, answer=False)
    assert played.rig.runtime.app.ring.acked == before
    assert played.rig.runtime.app.link.bad == bad + 1


def test_a_sensor_fault_is_named_and_ends(bed, event):
    played = bed(
        event(20, "board", "sensor", channel="oxygen", fault="open", duration_s=30.0),
        event(20, "board", "sensor", channel="supply_in", fault="short", duration_s=30.0),
    ).play(80)
    sensors = m.field_names(m.TREND).index("sensors")
    seen = {tick // 1000: values[sensors] for tick, values, _ in played.host.of(m.TREND)}
    oxygen, supply = 3 * channels.OXYGEN, 3 * channels.SUPPLY_IN
    assert seen[40] >> oxygen & 7 == channels.SENSOR_OPEN
    assert seen[40] >> supply & 7 == channels.SENSOR_SHORT
    assert seen[15] >> oxygen & 7 == seen[79] >> oxygen & 7 == channels.SENSOR_OK
    assert [word for _, word in alarm_rows(played.host, "oxygen_sensor_fault")] == ["raised", "cleared"]


def test_buttons_pause_and_acknowledge(bed, event):
    played = bed(
        event(30, "circuit", "disconnect", duration_s=120.0),
        event(60, "person", "pause"),
        event(70, "person", "acknowledge"),
    ).play(80)
    assert [word for _, word in alarm_rows(played.host, "disconnected")][-2:] == ["raised", "acknowledged"]
    presses = logged(played.host, log_codes.BUTTON)
    assert [values for _, values in presses] == [(0, 1), (1, 1)]
    pauses = [
        tick for tick, values, _ in played.host.of(m.ALARM) if alarms.TRANSITIONS[values[1]] == "audio_paused"
    ]
    assert 60_000 < pauses[0] <= 60_300


def test_the_wrong_date_moves_no_tick(bed, event):
    played = bed(event(20, "board", "set_clock", offset_s=-8e8)).play(40)
    ticks = [tick for tick, *_ in played.host.of(m.TREND)]
    assert ticks == list(range(1000, 40_001, 1000))
    health = [values[0] for _, values, _ in played.host.of(m.HEALTH)]
    assert health[-1] < health[0] - 7e8


def test_edges_of_lamps_and_sounder_can_be_traced(bed):
    edges = []
    played = bed(trace=lambda step, new: edges.extend((step, *one) for one in new))
    played.play(3)
    lamps = {index for _, kind, index, on, _ in edges if kind == 0 and on}
    assert lamps == {0, 1, 2, 3}, "the power-up test lights all lamps"
    assert any(kind == 1 and level for _, kind, _, level, _ in edges)


def test_a_person_zeroes_the_pressure_against_the_atmosphere(bed, event):
    played = bed(
        event(2, "ventilator", "stop"),
        event(10, "board", "offset", channel="pressure", value=3.0),
        event(30, "person", "zero_pressure"),
    ).play(40)
    mean = m.field_names(m.TREND).index("pressure_mean")
    seen = {tick // 1000: values[mean] for tick, values, _ in played.host.of(m.TREND)}
    assert seen[25] == pytest.approx(300, abs=15)
    assert seen[39] == pytest.approx(0, abs=5)
