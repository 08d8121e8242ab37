"""Reckon reserves from what was typed and what a store holds; say it in lines or as one object."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from ingest.analysis.reserves.agent import AgentUse, agent_use
from ingest.analysis.reserves.battery import (
    DischargeTest,
    MinutesRange,
    ProvenBound,
    peukert_minutes,
    proven_minutes,
    recharged_fraction,
    unproven_bound,
)
from ingest.analysis.reserves.cascade import Cascade, CylinderReserve, Rung, cascade
from ingest.analysis.reserves.cylinder import (
    LEFT_BEHIND_BAR,
    Cylinder,
    GaugeReading,
    TrueRate,
    cylinder_content,
    gas_demand,
    true_rate,
)
from ingest.analysis.reserves.entries import cylinder_of
from ingest.analysis.reserves.mixture import draw_over_mixture, fio2_with_reservoir, fio2_without_reservoir
from ingest.analysis.reserves.standing import Standing
from ingest.analysis.reserves.words import SOURCES, WORDS
from ingest.analysis.units import checked
from ingest.errors import UserError

SHARE_USUAL_PERCENT = 100.0 / 3.0  # inspiration to expiration 1:2: common practice, no source
CYLINDER_OPTIONS = (
    "size", "water_capacity", "gauge", "left", "temperature", "bleed", "gauge_before", "minutes_before",
)  # fmt: skip
Given = Mapping[str, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reckoned:
    """Hold what could be reckoned; None: nothing was given for it. `simulated`: from an emulated module."""

    cascade: Cascade
    battery: ProvenBound | None
    peukert: MinutesRange | None
    cylinder: CylinderReserve | None
    rate: TrueRate | None
    mixture: dict[str, Any] | None
    agent: AgentUse | None
    sources: tuple[str, ...] = ()
    simulated: bool = False
    record_ms: int | None = None
    bag_seen_ms: int | None = None


def reckon(
    given: Given, standing: Standing | None, now_ms: int, *, simulated: bool, draw_over: bool
) -> Reckoned:
    """Return all that the typed values (texts by option name) and the store allow; typed ones win."""
    peukert = _peukert(given)
    by_hand = _battery(given, peukert, now_ms)
    battery = by_hand or (standing.battery if standing else None)
    cylinder, rate = _cylinder(given, standing, now_ms, draw_over)
    mixture = _mixture(given) or _stored_mixture(standing)
    agent = _agent(given, draw_over) or _stored_agent(standing)
    bag_ms = now_ms if given.get("bag") else (standing.entered.bag_seen_ms if standing else None)
    found = cascade(
        now_ms=now_ms, battery=battery, cylinder=cylinder, bag_seen_ms=bag_ms,
        bypass=standing is not None and standing.supply_state == "bypass" and by_hand is None,
        battery_high_min=peukert.high_min if peukert else None,
    )  # fmt: skip
    # Where nothing was typed for the cylinder the store's own rung stands, with all that it knows is missing.
    if standing is not None and cylinder is standing.cylinder:
        first, second, last = found.rungs
        second = replace(second, unknown=standing.cascade.rungs[1].unknown)
        found = replace(found, rungs=(first, second, last))
    used = {
        "source.battery_proven": battery is not None and peukert is None,
        "source.peukert": peukert is not None,
        "source.gas": cylinder is not None,
        "source.demand": cylinder is not None,
        "source.rate": rate is not None,
        "source.mixture_reservoir": mixture is not None,
        "source.mixture_none": mixture is not None,
        "source.agent": agent is not None,
        "source.cascade": True,
    }
    return Reckoned(
        cascade=found, battery=battery, peukert=peukert, cylinder=cylinder, rate=rate, mixture=mixture,
        agent=agent, sources=tuple(key for key, one in used.items() if one), simulated=simulated,
        record_ms=standing.record_ms if standing else None, bag_seen_ms=bag_ms,
    )  # fmt: skip


def _needs(given: Given, names: tuple[str, ...], because: str) -> list[str]:
    """Return the texts of options that belong together; none of them is guessed."""
    missing = [name for name in names if given.get(name) is None]
    if missing:
        wanted = ", ".join("--" + name.replace("_", "-") for name in missing)
        raise UserError(f"{because} needs {wanted} as well; nothing is assumed.")
    return [str(given[name]) for name in names]


def _any(given: Given, *names: str) -> bool:
    return any(given.get(name) is not None for name in names)


def _number(option: str, text: str, low: float, high: float, unit: str) -> float:
    """Read a number that has no row among the quantities, within its hard bounds."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        raise UserError(f"--{option} {text}: give a number between {low:g} and {high:g} {unit}.")
    return value


def _battery(given: Given, peukert: MinutesRange | None, now_ms: int) -> ProvenBound | None:
    names = ("battery_minutes", "battery_tested")
    if not _any(given, *names):
        if peukert is None:
            return None
        return unproven_bound(peukert)
    minutes, tested = _needs(given, names, "A discharge test")
    then, now = given.get("load_then"), given.get("load")
    test = DischargeTest(
        at_ms=_day_ms(tested),
        minutes=checked("test length", minutes),
        load=None if then is None else checked("load", then),
    )
    charge = given.get("hours_on_mains")
    return proven_minutes(
        test,
        now_ms=now_ms,
        recharge_fraction=1.0
        if charge is None
        else recharged_fraction(0.0, _number("hours-on-mains", charge, 0, 10_000, "h")),
        load=None if now is None else checked("load", now),
    )


def _day_ms(text: str) -> int:
    try:
        return round(datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC).timestamp() * 1000)
    except ValueError:
        raise UserError(f"--battery-tested {text}: write the day of the test as YYYY-MM-DD.") from None


def _peukert(given: Given) -> MinutesRange | None:
    names = ("battery_ah", "battery_hours", "battery_type", "battery_current")
    if not _any(given, *names):
        return None
    capacity, hours, chemistry, current = _needs(given, names, "A battery without a discharge test")
    return peukert_minutes(
        capacity_ah=checked("battery capacity", capacity),
        rated_h=checked("hours of the capacity", hours),
        chemistry=chemistry,
        current_a=checked("battery current", current),
    )


def _cylinder(
    given: Given, standing: Standing | None, now_ms: int, draw_over: bool
) -> tuple[CylinderReserve | None, TrueRate | None]:
    if not _any(given, *CYLINDER_OPTIONS):
        reserve = standing.cylinder if standing else None
        return reserve, reserve.rate if reserve else None
    if not _any(given, "size", "water_capacity"):
        raise UserError("A cylinder needs --size, or --water-capacity in litres as stamped on its neck.")
    # 150 read in psi and taken for bar would promise ten times too much: the unit is never assumed.
    gauge, unit, flow = _needs(given, ("gauge", "unit", "flow"), "A cylinder")
    cylinder = cylinder_of(given.get("size") or "", given.get("water_capacity"))
    left = given.get("left")
    warmth = checked("temperature", given.get("temperature") or "15")
    content = cylinder_content(
        cylinder,
        checked("cylinder gauge", gauge, unit),
        temperature_c=warmth,
        left_bar=LEFT_BEHIND_BAR if left is None else checked("pressure left in the cylinder", left, unit),
    )
    volume = given.get("minute_volume")
    demand = gas_demand(
        minute_volume_l_min=0.0 if volume is None or draw_over else checked("minute volume", volume),
        bleed_l_min=checked("bleed flow", given.get("bleed") or "0"),
        added_oxygen_l_min=checked("oxygen flow", flow),
    )
    rate = _rate(given, cylinder, content.gauge_bar, unit, warmth, now_ms)
    return CylinderReserve(content=content, demand=demand, rate=rate), rate


def _rate(
    given: Given, cylinder: Cylinder, gauge_bar: float, unit: str, warmth_c: float, now_ms: int
) -> TrueRate | None:
    names = ("gauge_before", "minutes_before")
    if not _any(given, *names):
        return None
    before, minutes = _needs(given, names, "A true rate")
    back_ms = round(_number("minutes-before", minutes, 1, 1440, "min") * 60_000)
    return true_rate(
        cylinder,
        GaugeReading(at_ms=now_ms - back_ms, gauge_bar=checked("cylinder gauge", before, unit)),
        GaugeReading(at_ms=now_ms, gauge_bar=gauge_bar),
        temperature_c=warmth_c,
    )


def _mixture(given: Given) -> dict[str, Any] | None:
    if not _any(given, "purity", "reservoir", "rate", "inspired_share"):
        return None
    volume, oxygen, purity = (
        checked(name, text)
        for name, text in zip(
            ("minute volume", "oxygen flow", "source oxygen purity"),
            _needs(given, ("minute_volume", "flow", "purity"), "A mixture"),
            strict=True,
        )
    )
    share_told = given.get("inspired_share")
    share = checked("inspired share of the cycle", share_told or f"{SHARE_USUAL_PERCENT:.6f}")
    flows = {"minute_volume_l_min": volume, "oxygen_l_min": oxygen, "purity_percent": purity}
    found: dict[str, Any] = {
        "with_reservoir": fio2_with_reservoir(**flows),
        "without_reservoir": fio2_without_reservoir(**flows, inspired_share_percent=share),
        "inspired_share_percent": share,
        "rule": None,
        "assumes": ["mixture.no_leak", "mixture.flow_right"],
    }
    if _any(given, "reservoir", "rate"):
        litres, rate = _needs(given, ("reservoir", "rate"), "A reservoir tube")
        chosen = draw_over_mixture(
            **flows,
            rate_min=_number("rate", rate, 2, 80, "breaths a minute"),
            inspired_share_percent=share,
            reservoir_l=checked("reservoir volume", litres),
        )
        found |= {"rule": chosen.rule, "assumes": list(chosen.assumes)}
    return found


def _stored_mixture(standing: Standing | None) -> dict[str, Any] | None:
    """Return the mixture by entries, the module's purity and its breaths; None: something is missing."""
    one = standing.mixture if standing else None
    if one is None:
        return None
    here = one.here
    return {
        "with_reservoir": one.with_reservoir, "without_reservoir": one.without_reservoir,
        "inspired_share_percent": one.share_percent, "rule": None if here is None else here.rule,
        "assumes": list(one.unknown),
    }  # fmt: skip


def _stored_agent(standing: Standing | None) -> AgentUse | None:
    """Return the use by the vaporizer's entry, hours left now: what went since it was read is off."""
    one = standing.agent if standing else None
    if one is None or one.minutes_low is None:
        return None if one is None else one.use
    return replace(one.use, hours_left=one.minutes_low / 60.0)


def _agent(given: Given, draw_over: bool) -> AgentUse | None:
    if not _any(given, "agent", "level", "filling", "fresh_gas"):
        return None
    carrier = "minute_volume" if draw_over else "fresh_gas"
    named = "An agent in draw-over" if draw_over else "An agent (without --draw-over)"
    agent, level, filling, flow = _needs(given, ("agent", "level", "filling", carrier), named)
    quantity = "minute volume" if draw_over else "fresh gas flow"
    flows: dict[str, Any] = {f"{carrier}_l_min": checked(quantity, flow)}
    return agent_use(
        agent=agent.strip().lower(),
        level_percent=checked("agent level", level),
        filling_ml=checked("agent in the vaporizer", filling),
        draw_over=draw_over,
        **flows,
    )


def as_object(found: Reckoned) -> dict[str, Any]:
    """Return everything as plain data; infinite becomes None."""
    out = asdict(found)
    out["minutes_low"] = found.cascade.minutes_low
    if found.cylinder is not None:
        out["cylinder"]["total_l_min"] = found.cylinder.demand.total_l_min
    out["sources"] = {key: SOURCES[key] for key in found.sources}
    return dict(_finite(out))


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(one) for one in value]
    return None if isinstance(value, float) and abs(value) == float("inf") else value


def lines(found: Reckoned, zone: ZoneInfo) -> Iterator[str]:
    """Yield the report: cascade first, then what it rests on, each formula with its source."""
    if found.simulated:
        yield "SIMULATED: this store comes from an emulated module."
    at = found.cascade.at_ms
    yield f"If the mains fails now ({_clock(at, zone)} {zone.key}), at least:"
    for rung in found.cascade.rungs:
        yield _rung(rung, found, zone)
    for one in found.cascade.lengthen:
        if one.minutes_gained > 0:
            yield f"  longer by {one.minutes_gained} min: {WORDS[one.key]} ({one.to_l_min:.3g} L/min)"
    yield "Not known: " + "; ".join(WORDS[key] for key in found.cascade.unknown) + "."
    yield from _battery_lines(found)
    yield from _cylinder_lines(found)
    yield from _gas_lines(found)
    yield "Sources:"
    for key in found.sources:
        yield f"  {key.removeprefix('source.').replace('_', ' ')}: {SOURCES[key]}"
    yield "A lower bound proves nothing about the patient: watch the patient."


def _clock(at_ms: int, zone: ZoneInfo) -> str:
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).strftime("%H:%M")


def _rung(rung: Rung, found: Reckoned, zone: ZoneInfo) -> str:
    notes = "; ".join(WORDS[key] for key in rung.unknown)
    if rung.minutes_low is None:
        seen = found.bag_seen_ms
        bag = notes if seen is None else f"self-inflating bag at the bed, seen at {_clock(seen, zone)}"
        return f"  then from {_clock(rung.from_ms, zone)}  {WORDS[rung.key]}: {bag}"
    assert rung.until_ms is not None
    high = "" if rung.minutes_high is None else f", {rung.minutes_high} min at most"
    text = f"  {rung.minutes_low:4d} min, until {_clock(rung.until_ms, zone)}  {WORDS[rung.key]}"
    proof = " (not proven)" if rung.key == "rung.battery" and not rung.proven else ""
    return f"{text}{proof}{high}" + (f"; not known: {notes}" if notes else "")


def _battery_lines(found: Reckoned) -> Iterator[str]:
    battery, range_min = found.battery, found.peukert
    if battery is not None and battery.test_age_days is not None:
        yield (
            f"Battery: {battery.minutes_low:.1f} min = test × charge {battery.recharge_fraction:.2f} × "
            f"ageing {battery.ageing_fraction:.3f} × load {battery.load_factor:.2f}; test "
            f"{battery.test_age_days:.0f} days old."
        )
    if range_min is not None:
        yield (
            f"Battery by Peukert: {range_min.low_min:.0f} to {range_min.high_min:.0f} min "
            f"(middle {range_min.middle_min:.0f})."
        )


def _cylinder_lines(found: Reckoned) -> Iterator[str]:
    if found.cylinder is None:
        return
    content, demand = found.cylinder.content, found.cylinder.demand
    yield (
        f"Cylinder {content.cylinder.size} at {content.gauge_bar:.0f} bar, {content.left_bar:.1f} bar left "
        f"behind: ideal {content.ideal_l:.0f} L, real {content.real_l:.0f} L, factor "
        f"{content.factor_l:.0f} L; smallest used ({content.used_rule}), with gauge error at least "
        f"{content.low_l:.0f} L."
    )
    yield (
        f"It empties at {demand.total_l_min:.3g} L/min: drive gas {demand.minute_volume_l_min:.3g} + bleed "
        f"{demand.bleed_l_min:.3g} + oxygen {demand.added_oxygen_l_min:.3g}."
    )
    if found.rate is not None:
        told = "" if found.rate.told else "; the gauge fell too little to tell"
        yield (
            f"True rate over {found.rate.minutes_between:.0f} min: {found.rate.rate_l_min:.1f} L/min "
            f"({found.rate.low_l_min:.1f} to {found.rate.high_l_min:.1f}){told}."
        )


def _gas_lines(found: Reckoned) -> Iterator[str]:
    if found.mixture is not None:
        one = found.mixture
        rule = f" Here: {WORDS[one['rule']]}." if one["rule"] else ""
        yield (
            f"Oxygen calculated, not measured: with a reservoir tube {100 * one['with_reservoir']:.1f} %, "
            f"without {100 * one['without_reservoir']:.1f} %.{rule} Assumes: "
            + "; ".join(WORDS[key] for key in one["assumes"]) + "."
        )  # fmt: skip
    if found.agent is not None:
        use = found.agent
        left = "no end" if use.hours_left == float("inf") else f"at least {int(use.hours_left * 60)} min"
        yield (
            f"Agent: {use.exact_ml_h:.1f} mL/h (rule of thumb {use.thumb_ml_h:.1f}) at "
            f"{use.carrier_l_min:.3g} L/min of carrier; left: {left}."
        )
