"""How each row is provoked: one case a row, in the terms of the generator. Limits are the settings' own.

`inside` and `outside` lie a channel's accuracy from the limit. `sure` is what the delay is measured with,
where just outside would leave the measurement's own lag undefined. A row may take its on-delay, one period
of its channel (`period_s`; one breath for what is known breath by breath) and 0.2 s. What comes on top of
that is `lag_s`, disclosed with its reason `why`: the sensor's own, or a condition that is itself a time.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from firmware_sim.contract import alarms, channels, commands
from firmware_sim.contract import settings as s

if TYPE_CHECKING:
    from firmware_sim.rig.drill.bench import Bench

Do = Callable[["Bench"], None]

BREATH_S = 4.0
# Margins from the limit: the channels' own error at the limit (converter's flaws, noise) and some.
CMH2O, PER_CENT, HERTZ, VOLT, PER_MINUTE = 0.7, 0.6, 0.3, 0.05, 1.5
BATTERY = {"battery.proven_minutes": 240, "battery.recharge": 10}
HALF = "the period under way holds both"
BY_CONTACT: dict[str, Any] = {
    "lag_s": 1.0, "clear_s": 2.0, "period_s": 1.0, "why": "the contact is read once a second, then judged",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Hold one row's stimuli; `back` takes them away. `settings` in steps, beside the defaults.

    `first` is done before power-up, `before` after it. `inside_s`: for how long just-inside is held; None: as
    long as just-outside needs. `survives_cut`: the condition goes on through a power cut, so that the row
    must come back. `pause_after_s`: until then other rows follow, each of which would end a pause.
    `waves`: the same without the UPS's contact, from the taps alone, and how long that may take.
    """

    outside: Do
    back: Do
    inside: Do | None = None
    sure: Do | None = None
    first: Do | None = None
    before: Do | None = None
    settings: dict[str, int] = field(default_factory=dict)
    lag_s: float = 0.0
    clear_s: float = 0.0
    why: str = ""
    inside_s: float | None = None
    survives_cut: bool = True
    period_s: float = 0.1
    pause_after_s: float = 0.0
    waves: Do | None = None
    waves_s: float = 0.0


def put(**changes: float | str) -> Do:
    """Return what puts values on the inputs."""
    return lambda bench: bench.put(**changes)


def limit(name: str) -> float:
    """Return the default of a setting in its unit."""
    row = s.SETTINGS[s.ID_OF[name]]
    return row.adult / row.scale


def level(name: str, setting: str, margin: float, usual: float, up: bool, **more: Any) -> Case:
    """Return the case of a value that may be put on either side of its limit."""
    sign = 1 if up else -1
    at = limit(setting)
    return Case(
        inside=put(**{name: at - sign * margin}),
        outside=put(**{name: at + sign * margin}),
        back=put(**{name: usual}),
        **more,
    )


def fault(channel: str, condition: str, value: float = -999.0, **more: Any) -> Case:
    """Return the case of a sensor that breaks; inside is a fault shorter than the row's delay."""
    return Case(
        outside=lambda bench: bench.fault(channel, condition, value),
        back=lambda bench: bench.fault(channel, "ok"),
        inside=lambda bench: bench.fault(channel, condition, value),
        **more,
    )


def contact(state: int, **more: Any) -> Case:
    """Return the case of a supply state that the UPS's contact reports."""
    return Case(
        outside=put(contact=state),
        back=put(contact=channels.STATE_NORMAL),
        inside=put(contact=state),
        **{**BY_CONTACT, **more},
    )


def dips(count: int) -> Do:
    """Return what puts short dips on the input."""

    def do(bench: "Bench") -> None:
        for _ in range(count):
            bench.put(in_pct=75.0)
            bench.run(2)
            bench.put(in_pct=100.0)
            bench.run(15)

    return do


def charge(left_s: int) -> Do:
    """Return what charges the reckoned battery until it would last a little longer than `left_s`."""

    def do(bench: "Bench") -> None:
        for _ in range(2000):
            if (bench.trends[-1][1]["battery"] or 0) > left_s:
                break
            bench.run(10)
        bench.put(contact=channels.STATE_STORED_ENERGY)
        bench.run(30)

    return do


def wait_battery(below_s: int) -> Do:
    """Return what waits until the reckoned battery is below a limit: there the row's time begins."""

    def do(bench: "Bench") -> None:
        for _ in range(400):
            if bench.trends[-1][1]["battery"] < below_s:
                return
            bench.run(10)

    return do


def use_reserve(bench: "Bench") -> None:
    """Use the battery until it is short, then let the supply come back: the reserve is low."""
    wait_battery(560)(bench)
    bench.put(contact=channels.STATE_NORMAL)


def rise_slowly(bench: "Bench") -> None:
    """Let the purity rise above what sieves can make, slower than a change of the source would."""
    bench.put(oxygen_slope=0.8)
    bench.run(1200)
    bench.put(oxygen=96.6, oxygen_slope=0.0)


def mend_settings(bench: "Bench") -> None:
    """Write sound settings and switch off and on."""
    bench.tell(commands.SET_SETTINGS, (), [(s.ID_OF["oxygen.altitude"], 10)])
    bench.run(5)
    bench.cut_power(10)
    bench.run(5)


def tell(command: int, *fields: int) -> Do:
    """Return what gives a command."""
    return lambda bench: bench.tell(command, fields)


def cylinder(minutes: int, drawn: bool) -> Do:
    """Return what tells the module of a cylinder that lasts so long at 8 L/min; `drawn`: from now on."""
    return tell(commands.CYLINDER, minutes * 8, 800, int(drawn))


def program(sound: bool) -> Do:
    """Return what damages or mends the program's memory, and asks for a self-test."""

    def do(bench: "Bench") -> None:
        bench.rig.board.program_sound = sound
        # Lamps are tested only while nothing else stands: what stood beside it in the drill must end first.
        bench.run(80 if sound else 0)
        bench.tell(commands.SELF_TEST)

    return do


def talk(on: bool) -> Do:
    """Return what makes the host speak or keep silent."""

    def do(bench: "Bench") -> None:
        bench.talks = on

    return do


def clock(is_set: bool) -> Do:
    """Return what lets the module's clock start over, or sets it."""

    def do(bench: "Bench") -> None:
        true_ms = bench.now_ms
        if is_set:
            bench.rig.board.clock.write(true_ms, bench.rig.now_ms())
        else:
            bench.rig.board.clock.lose(true_ms)

    return do


def calibrated(day: int) -> Do:
    """Return what puts a calibration of a tap in force, made on a day since 1970-01-01."""
    return lambda bench: bench.tell(commands.CALIBRATE, (0, 16384, 0, day, 2, 0, 0))


def dark(steps: int) -> Do:
    """Return what takes the power away for a time."""
    return lambda bench: bench.cut_power(steps)


def damage(bench: "Bench") -> None:
    """Tear both slots of the settings and switch off and on."""
    for page in (0, 1):
        bench.rig.board.flash.erase(page)
        bench.rig.board.flash.write(page, 0, bytes(64))
    bench.cut_power(20)


def many_commands(bench: "Bench") -> None:
    """Fill the event log: each command is an entry."""
    for _ in range(45):
        for _ in range(40):
            bench.tell(commands.ACKNOWLEDGE, (200,))
        bench.run(10)


def nothing(bench: "Bench") -> None:
    """Leave all as it is."""


LAG_O2_S, LAG_O2 = 14.0, "the cell needs 12 s for nine tenths, the reading is a median of five"
# A breath is sure at the end of its inspiration: 35 % of 4 s, and a fall.
BREATH_ROW: dict[str, Any] = {
    "lag_s": 2.0, "clear_s": 2 * BREATH_S, "period_s": BREATH_S,
    "why": "a breath is sure when its inspiration is over",
}  # fmt: skip
SECOND: dict[str, Any] = {"lag_s": 1.0, "clear_s": 3.0, "period_s": 1.0, "why": HALF}
NO_FLOW: dict[str, Any] = {
    "lag_s": 11.0, "clear_s": 3.0, "period_s": 1.0,
    "why": "no flow is a product pressure that is gone for 10 s",
}  # fmt: skip
TEN_CODES: dict[str, Any] = {
    "lag_s": 5.0, "clear_s": 12.0, "period_s": 5.0, "why": "ten samples in 5 s are judged together; " + HALF,
}  # fmt: skip
_C = channels
STANDBY, SPONTANEOUS = {"module.mode": _C.MODE_STANDBY}, {"module.mode": _C.MODE_SPONTANEOUS}

CASES: dict[str, Case] = {
    "pressure_high": level("peak", "pressure.high", CMH2O, 20.0, True, period_s=BREATH_S, clear_s=0.5),
    "pressure_sustained": Case(inside=put(rest=limit("pressure.sustained") - CMH2O, peak=26.0),
                               outside=put(rest=limit("pressure.sustained") + CMH2O, peak=28.0),
                               back=put(rest=6.0, peak=20.0), clear_s=BREATH_S),
    "disconnected": Case(inside=put(peak=limit("pressure.disconnect") + CMH2O, rest=4.0),
                         outside=put(peak=limit("pressure.disconnect") - CMH2O, rest=4.0),
                         back=put(peak=20.0, rest=6.0), clear_s=BREATH_S, period_s=BREATH_S),
    "no_breath": Case(inside=put(shape="level"), outside=put(shape="level"), back=put(shape="breaths"),
                      lag_s=limit("breath.no_breath"), clear_s=2 * BREATH_S, period_s=BREATH_S,
                      inside_s=limit("breath.no_breath") - BREATH_S - 1,
                      why="the limit is itself a time, from the last breath on"),
    "no_effort": Case(before=put(shape="pulls", rest=0.0), settings=SPONTANEOUS, back=put(shape="pulls"),
                      inside=put(shape="level", level=0.0), outside=put(shape="level", level=0.0),
                      lag_s=limit("breath.no_effort"), clear_s=2 * BREATH_S, period_s=BREATH_S,
                      inside_s=limit("breath.no_effort") - 2 * BREATH_S - 1,
                      why="the limit is itself a time, from the last effort on"),
    "pressure_sensor_fault": fault("pressure", "stuck", 12.0, inside_s=6.0, lag_s=5.0, clear_s=3.0,
                                   period_s=1.0, pause_after_s=10.0, why="stuck is the same code for 5 s"),
    "below_ambient": Case(inside=put(shape="level", level=limit("pressure.below_ambient") + CMH2O),
                          outside=put(shape="level", level=limit("pressure.below_ambient") - CMH2O),
                          back=put(shape="breaths")),
    "pressure_low": level("peak", "pressure.low", CMH2O, 20.0, False, **BREATH_ROW),
    "end_expiratory_high": level("rest", "end_expiratory.high", CMH2O, 6.0, True, clear_s=2 * BREATH_S,
                                 period_s=BREATH_S, lag_s=7.0,
                                 why="a rest raised by a fifth of the breath is a held breath for 5 s"),
    "end_expiratory_low": level("rest", "end_expiratory.low", CMH2O, 6.0, False, **{
        **BREATH_ROW, "lag_s": 2.5,
        "why": "known at the end of the next inspiration; a rest that falls is a pull for 0.4 s"}),
    "rate_high": level("rate", "rate.high", PER_MINUTE, 15.0, True, lag_s=8.0, clear_s=20.0,
                       period_s=BREATH_S, why="the rate is the mean of four breaths of 1.9 s"),
    "rate_low": level("rate", "rate.low", 0.7, 15.0, False, lag_s=46.0, clear_s=30.0, period_s=12.0,
                      why="the rate is the mean of four breaths of 11.3 s"),
    "standby_breathing": Case(settings=STANDBY, first=put(shape="level", level=0.0), back=put(shape="level"),
                              inside=put(shape="breaths"), outside=put(shape="breaths"), inside_s=18.0,
                              clear_s=limit("breath.standby") + 2 * BREATH_S, lag_s=2.0, period_s=BREATH_S,
                              why="a breath is sure when its inspiration is over"),
    "supply_dangerous": level("in_pct", "supply.dangerous", PER_CENT, 100.0, True),
    "output_dangerous": level("out_pct", "supply.output_dangerous", PER_CENT, 100.0, True),
    "supply_interrupted": level("in_pct", "supply.interrupted", PER_CENT, 100.0, False),
    "output_lost": level("out_pct", "supply.output_lost", PER_CENT, 100.0, False),
    "output_low": level("out_pct", "supply.output_low", PER_CENT, 100.0, False),
    "supply_below_window": level("in_pct", "supply.window_low", PER_CENT, 100.0, False),
    "supply_above_window": level("in_pct", "supply.window_high", PER_CENT, 100.0, True),
    "stored_energy": contact(_C.STATE_STORED_ENERGY, inside_s=2.0, waves=put(in_pct=0.0), waves_s=6.2),
    "battery_very_short": Case(settings=BATTERY, before=charge(330), outside=wait_battery(300),
                               back=put(contact=1), inside=nothing, inside_s=10.0, period_s=1.0, clear_s=3.0,
                               survives_cut=False),
    "battery_short": Case(settings=BATTERY, before=charge(630), outside=wait_battery(600),
                          back=put(contact=1), inside=nothing, inside_s=10.0, period_s=1.0, clear_s=3.0,
                          survives_cut=False),
    "battery_reserve_low": Case(settings=BATTERY, before=charge(610), inside=nothing, inside_s=5.0,
                                outside=use_reserve,
                                back=nothing, clear_s=60.0, survives_cut=False, lag_s=1.0, period_s=1.0,
                                why="the contact is read once a second, then judged"),
    "bypass_restless": Case(before=put(contact=_C.STATE_BYPASS), outside=dips(1), inside=nothing,
                            inside_s=15.0, back=put(contact=1), lag_s=1.0, clear_s=3.0, period_s=1.0,
                            survives_cut=False, why="an event is over one window after its end"),
    "bypass": contact(_C.STATE_BYPASS, inside_s=6.0, waves=put(out_follows=1.0), waves_s=70.2),
    "battery_not_proven": contact(_C.STATE_UNDETERMINED, inside_s=590.0, survives_cut=False,
                                  lag_s=limit("supply.undetermined") + 1.0,
                                  why="the limit is itself a time; the contact is read once a second"),
    "frequency_low": Case(inside=put(in_hz=47.5 + HERTZ), outside=put(in_hz=47.5 - HERTZ),
                          back=put(in_hz=50.0), lag_s=1.0, clear_s=3.0,
                          period_s=1.0, why="taken over 1 s; " + HALF),
    "frequency_high": Case(inside=put(in_hz=52.5 - HERTZ), outside=put(in_hz=52.5 + HERTZ),
                           back=put(in_hz=50.0), lag_s=1.0, clear_s=3.0,
                           period_s=1.0, why="taken over 1 s; " + HALF),
    "many_dips": Case(inside=dips(6), outside=dips(7), back=nothing, inside_s=2.0, lag_s=1.0, clear_s=3700.0,
                      period_s=1.0, survives_cut=False, why="an event is over one window after its end"),
    "source_stopped": Case(inside=put(product_kpa=0.0), outside=put(product_kpa=0.0),
                           back=put(product_kpa=50.0), inside_s=8.0, **NO_FLOW),
    "purity_very_low": level("oxygen", "oxygen.very_low", PER_CENT, 93.0, False, sure=put(oxygen=50.0),
                             lag_s=LAG_O2_S, clear_s=20.0, period_s=0.5, why=LAG_O2),
    "purity_low": level("oxygen", "oxygen.low", PER_CENT, 93.0, False, sure=put(oxygen=75.0),
                        lag_s=LAG_O2_S, clear_s=20.0, period_s=0.5, why=LAG_O2),
    "purity_falling": Case(inside=put(oxygen_slope=-2.2), outside=put(oxygen_slope=-4.0), inside_s=60.0,
                           back=put(oxygen_slope=0.0), lag_s=40.0, clear_s=60.0, period_s=1.0,
                           why="a slope over 30 s of means of 8 s; the cell's own lag"),
    "oxygen_not_current": Case(inside=put(product_kpa=0.0), outside=put(product_kpa=0.0),
                               back=put(product_kpa=50.0), inside_s=40.0, **NO_FLOW),
    "oxygen_implausible": Case(inside=put(oxygen=95.6), outside=rise_slowly, inside_s=30.0,
                               before=put(oxygen=95.0), back=put(oxygen=93.0, oxygen_slope=0.0),
                               lag_s=300.0 + LAG_O2_S, survives_cut=False, clear_s=20.0, period_s=1.0,
                               why="must last 5 min above what sieves can make; " + LAG_O2),
    "cylinder_in_use": Case(inside=put(oxygen=95.6), outside=put(oxygen=99.5), back=put(oxygen=93.0),
                            lag_s=LAG_O2_S, clear_s=40.0, period_s=1.0, why=LAG_O2),
    "cylinder_short": Case(inside=cylinder(31, False), outside=cylinder(30, True), back=cylinder(60, False),
                           clear_s=1.2, period_s=1.0),
    "warming_up": Case(outside=tell(commands.DECLARE_WARMING_UP, 300), inside=nothing, inside_s=2.0,
                       back=tell(commands.DECLARE_WARMING_UP, 0), lag_s=0.1, clear_s=0.3, survives_cut=False,
                       why="a command is obeyed in the next step"),
    "self_test_failed": Case(outside=program(False), inside=program(True), back=program(True), lag_s=5.1,
                             clear_s=5.2, why="the test takes 5 s"),
    "memory_fault": Case(outside=damage, back=mend_settings, inside=nothing, inside_s=1.0, lag_s=0.2,
                         survives_cut=False, clear_s=1.0, why="found at power-up"),
    "rail_low": level("rail_v", "rail.low", VOLT, 5.0, False, clear_s=2.0, period_s=1.0),
    "supply_in_sensor_fault": fault("supply_in", "open", inside_s=2.5, **SECOND),
    "supply_out_sensor_fault": fault("supply_out", "open", inside_s=2.5, **SECOND),
    "oxygen_sensor_fault": fault("oxygen", "open", inside_s=2.5, **TEN_CODES),
    "pressure_sensor_idle": fault("pressure", "short", settings=STANDBY, inside_s=2.5, **SECOND),
    "pressure_sensor_doubtful": fault("pressure", "noisy", 8.0, inside_s=2.5, **SECOND),
    "supply_sensor_doubtful": fault("supply_in", "noisy", 400.0, inside_s=2.5, **SECOND),
    "output_sensor_doubtful": fault("supply_out", "noisy", 400.0, inside_s=2.5, **SECOND),
    "oxygen_sensor_doubtful": fault("oxygen", "noisy", 20.0, inside_s=2.0, **TEN_CODES),
    "preset_doubtful": level("rate", "rate.adult_doubtful", PER_MINUTE, 15.0, True, lag_s=10.0, clear_s=20.0,
                             period_s=BREATH_S, why="the rate is the mean of four breaths of 2.4 s"),
    "mode_doubtful": Case(before=put(rest=0.0), outside=put(shape="pulls"), inside=nothing, inside_s=20.0,
                          back=put(shape="breaths"), lag_s=5 * BREATH_S, clear_s=6 * BREATH_S,
                          period_s=BREATH_S, why="five efforts in a row must be seen"),
    "limits_unconfirmed": Case(settings={"oxygen.altitude": 10}, inside=dark(200), inside_s=5.0,
                               outside=dark(450), back=tell(commands.CONFIRM_LIMITS, 0), lag_s=0.2,
                               clear_s=0.3, survives_cut=False, why="at power-up"),
    "calibration_due": Case(outside=calibrated(10_000), inside=calibrated(60_000), inside_s=5.0,
                            back=calibrated(60_000), lag_s=0.1, clear_s=1.2,
                            period_s=1.0, why="a command is obeyed in the next step"),
    "clock_unset": Case(outside=clock(False), inside=clock(False), back=clock(True), inside_s=50.0,
                        clear_s=1.2, period_s=1.0),
    "link_lost": Case(outside=talk(False), inside=talk(False), back=talk(True), inside_s=20.0,
                      lag_s=limit("link.lost"), clear_s=6.0, survives_cut=False,
                      why="the limit is itself a time, from the host's last word"),
    "log_nearly_full": Case(outside=many_commands, inside=nothing, inside_s=2.0,
                            back=tell(commands.CLEAR_LOG_NOTICE), lag_s=0.2, clear_s=1.0,
                            survives_cut=False, why="each entry counts at once"),
}  # fmt: skip

assert set(CASES) == {row.name for row in alarms.ROWS}
