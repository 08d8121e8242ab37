"""English of the supply study: report, figures, tables, and the page Supply."""

from typing import Final

_FIGURES: Final[dict[str, str]] = {
    "study.title": "Supply study",
    "study.subtitle": "{site}, {tap} the UPS, {start} to {end} ({zone})",
    "study.site": "module {number}",
    "study.site_named": "{site}, {bed}, module {number}",
    "study.tap.before": "before",
    "study.tap.after": "after",
    "study.lead": "Not watched: {dark} of {whole}. Coverage {percent} %.",
    "study.lead_none": "Watched without a gap for {whole}. Coverage {percent} %.",
    "study.not_measured": "Not measured: transients shorter than a sample of 0.3 ms, harmonics above order "
    "{order}, flicker, unbalance, current. An interruption with the module dark can't be seen.",
    "study.caution": "From a research and prototyping instrument with calibration by its user. Not a class A "
    "or class S instrument, no proof of conformity with any standard.",
    "study.simulated": "SIMULATED. These data come from an emulated module and an invented supply.",
    "study.record": "What must be said of this record",
    "study.record_none": "Nothing of note: no gap, no change of calibration, no open event.",
    "study.key": "Figures",
    "study.key_note": "Each figure stands with the part of the period it rests on. Intervals are 95 %; "
    "bounds count all time that was not watched as the worst and as the best case.",
    "study.limits": "Against EN 50160",
    "study.limits_note": "Met or not met only where the missing values could not change it. A record shorter "
    "than the period a limit speaks of is an indication, not a verdict on that period.",
    "study.dips": "Dips by residual voltage and length (EN 50160)",
    "study.swells": "Swells by height and length (EN 50160)",
    "study.counts": "Counts",
    "study.counts_note": "In the watched time only (coverage {percent} %).",
    "study.ups": "What the UPS saw",
    "study.ups_none": "No supply state was recorded: nothing can be said of the UPS.",
    "study.events": "Events",
    "study.events_cut": "The {n} longest of {all}; all of them stand in events.csv.",
    "study.events_none": "No event was recorded in the watched time.",
    "study.calibrations": "Voltage by calibration",
    "study.calibrations_note": "The calibration changed inside this period. Voltages before and after are "
    "never joined to one figure.",
    "study.modules": "Seen by several modules",
    "study.modules_note": "Events of one kind are one event when their starts agree within both clocks' "
    "errors ({error} s each) and a cycle.",
    "study.method": "Methods",
    "study.cite": "To cite: nightkeel {version}, supply study of {start} to {end}, written {written}.",
    "study.missing": "not available: {reason}",
    "study.reason.nominal unknown": "nominal voltage unknown",
    "study.reason.nothing measured": "nothing measured",
    "study.reason.calibration changed": "the calibration changed inside",
    "study.reason.too short": "record too short",
    "study.reason.values missing": "values missing",
    "study.reason.interrupted or clipped": "interrupted or clipped",
    "study.note.no data": "No data in this period: nothing below is a finding.",
    "study.note.nominal unknown": "The nominal voltage is unknown: whatever is a part of it is left out. "
    "Give --reference.",
    "study.note.calibration changed": "The calibration changed at {at}: voltages before and after stand "
    "apart.",
    "study.note.gap": "{count} stretches without data, {span} in all.",
    "study.note.module dark": "In {count} of them the module itself was dark ({span}): censored time, in "
    "which the supply may have failed.",
    "study.note.gap inside event": "{count} events have a gap inside ({span}): their extreme may have been "
    "worse.",
    "study.note.event may have begun in a gap": "{count} events may have begun in the gap before them.",
    "study.note.event still open": "{count} events had not ended when the record did: their length is 'at "
    "least'.",
    "study.note.event clipped": "{count} events reached the end of the tap's range: 'at least'.",
    "study.note.coverage low": "Coverage is below 90 %: {span} are missing.",
    "study.note.flagged values kept": "{count} 10-min values hold an event; they are kept and marked.",
    "study.note.means": "{count} 10-min values rest on 1-min means: the 10/12-cycle values were removed from "
    "the store.",
    "study.note.thresholds": "The module's thresholds or nominal voltage changed {count} times inside.",
    "study.note.reference": "Events were found by the module against its nominal {nominal} V; per cent here "
    "is of {reference} V.",
}

_ROWS: Final[dict[str, str]] = {
    "study.row.availability": "supply available",
    "study.row.outside": "10-min voltage outside ±10 %",
    "study.row.mean": "root mean square voltage",
    "study.row.lowest": "lowest Urms(1/2)",
    "study.row.highest": "highest Urms(1/2)",
    "study.row.dip": "dips",
    "study.row.swell": "swells",
    "study.row.interruption": "interruptions",
    "study.row.between": "mean time between interruptions",
    "study.row.median": "median time to the next interruption (Kaplan-Meier)",
    "study.row.per_year": "interruptions a year, like SAIFI of one site",
    "study.row.minutes_per_year": "minutes interrupted a year, like SAIDI of one site",
    "study.row.short": "short interruptions, up to 3 min",
    "study.row.long": "long interruptions",
    "study.row.undecided": "short or long not decided, because of gaps",
    "study.row.sag_energy": "sum of sag energy (rectangular dips: an upper bound)",
    "study.row.severity": "greatest sag severity against SEMI F47",
    "study.row.semi": "dips below the SEMI F47 curve",
    "study.row.itic": "ITIC region: {name}",
    "study.row.category": "IEEE 1159: {name}",
    "study.row.sarfi": "SARFI-{x}",
    "study.row.state": "hours: {name}",
    "study.row.transfers": "transfers to stored energy",
    "study.row.output_fell": "times the output fell",
    "study.row.longest": "longest time on stored energy",
    "study.row.deepest": "deepest discharge",
    "study.row.recharge": "shortest recharge between failures",
    "study.row.tests": "proven discharge tests",
    "study.row.trend": "change of proven battery minutes a year",
    "study.row.pairs": "seen by both",
    "study.row.only": "only by {module}, while the other watched",
    "study.row.unknown": "by one, in a gap of the other",
    "study.row.offset": "median difference of start times",
    "study.row.about": "{name}",
    "study.column.figure": "figure",
    "study.column.value": "value",
    "study.column.interval": "95 % interval or bounds",
    "study.column.coverage": "coverage, %",
    "study.column.limit": "limit",
    "study.column.verdict": "result",
    "study.column.inside": "inside, % of values",
    "study.column.bounds": "inside, % of the period",
    "study.column.residual": "residual",
    "study.column.start": "began",
    "study.column.kind": "kind",
    "study.column.length": "length",
    "study.column.extreme": "extreme, % of reference",
    "study.column.cell": "EN 50160",
    "study.column.itic": "ITIC",
    "study.column.label": "said of it",
    "study.column.from": "from",
    "study.column.to": "to",
    "study.kind.dip": "dip",
    "study.kind.swell": "swell",
    "study.kind.interruption": "interruption",
    "study.kind.rapid change": "rapid change",
    "study.verdict.met": "met",
    "study.verdict.not met": "not met",
    "study.verdict.not decided": "not decided",
    "study.region.prohibited": "above the upper curve",
    "study.region.no interruption": "between the curves",
    "study.region.no damage": "below the lower curve",
    "study.band.10-min voltage, 95 % of a week": "10-min voltage, 95 % of a week",
    "study.band.10-min voltage, always": "10-min voltage, always",
    "study.band.10-s frequency, 99.5 % of a year": "10-s frequency, 99.5 % of a year",
    "study.band.10-s frequency, always": "10-s frequency, always",
    "study.band.10-s frequency of an island, 95 % of a week": "10-s frequency of an island, 95 % of a week",
    "study.band.10-s frequency of an island, always": "10-s frequency of an island, always",
    "study.band.harmonic": "harmonic {order}, 95 % of a week",
    "study.band.total": "total distortion to order {order}, 95 % of a week",
    "study.state.normal": "normal mode",
    "study.state.stored energy": "stored energy",
    "study.state.bypass": "bypass",
    "study.state.dead": "no output",
    "study.state.undetermined": "not determined",
    "study.length.at_least": "at least {text}",
    "study.length.ms": "{n} ms",
    "study.length.s": "{n} s",
    "study.other": "other",
    "study.outside": "outside the table",
}

_DRAWN: Final[dict[str, str]] = {
    "study.figure.voltage": "Voltage over the period: 10-min root mean square, with the least and greatest "
    "Urms(1/2) of each 10 min. Hatched: not watched. Coverage {percent} %.",
    "study.figure.itic": "Magnitude against duration, {n} dips and swells, with the ITIC envelope (a "
    "yardstick made for 120 V equipment) and SEMI F47. Open marks: 'at least'. Coverage {percent} %.",
    "study.figure.curve": "Duration curve of the 10-min voltage. Coverage {percent} %.",
    "study.figure.week": "Interruptions begun by hour and weekday ({zone}); the figure is minutes without "
    "supply. Hatched: never watched. Coverage {percent} %.",
    "study.figure.harmonics": "Harmonic subgroups, 95 % value of {n} snapshots of 0.2 s, with the EN 50160 "
    "limits. Snapshots were taken in {percent} % of the 10-min intervals.",
    "study.figure.sizing": "With so many minutes of battery so many interruptions would have been carried, "
    "for three input windows of a UPS. Where data leave a length open, the lower line counts it longest. "
    "Coverage {percent} %.",
    "study.figure.survival": "Part of the times of good supply that lasted longer (Kaplan-Meier; dark time "
    "is censored). Coverage {percent} %.",
    "study.figure.ride": "What the equipment rode through, by people's marks. Coverage {percent} %.",
    "study.axis.time": "time, {zone}",
    "study.axis.volts": "voltage, V",
    "study.axis.seconds": "duration, s",
    "study.axis.percent": "voltage, % of reference",
    "study.axis.share": "time at or above, %",
    "study.axis.hour": "hour of the day",
    "study.axis.order": "order",
    "study.axis.of_fundamental": "% of the fundamental",
    "study.axis.battery": "battery, min",
    "study.axis.ridden": "interruptions carried",
    "study.axis.hours": "time of good supply, h",
    "study.axis.lasting": "part lasting longer",
    "study.axis.half_cycle": "Urms(1/2), V",
    "study.axis.ms": "time from the trigger, ms",
    "study.key.rms": "10-min rms",
    "study.key.limits": "nominal ±10 %",
    "study.key.itic": "ITIC",
    "study.key.semi": "SEMI F47",
    "study.key.window": "window {low} to {high} %",
    "study.key.limit": "EN 50160 limit",
    "study.key.measured": "measured",
    "study.key.survived": "survived",
    "study.key.tripped": "tripped",
    "study.day.0": "Mon",
    "study.day.1": "Tue",
    "study.day.2": "Wed",
    "study.day.3": "Thu",
    "study.day.4": "Fri",
    "study.day.5": "Sat",
    "study.day.6": "Sun",
}

_METHODS: Final[dict[str, str]] = {
    "study.method.sampling": "The voltage {tap} the UPS was sampled at 3.2 kS/s. Urms(1/2) is the rms over "
    "one cycle from a zero crossing of the fundamental, renewed each half cycle; 10/12-cycle values join "
    "half cycles without gaps or overlap; 10-min values are root mean squares of them by the UTC clock "
    "(after IEC 61000-4-30).",
    "study.method.kept": "Half cycles of a whole period are not kept. This study rests on 10/12-cycle "
    "values, events, waveform snapshots, states, and 1-s frequencies. Rapid voltage changes need half "
    "cycles and are not counted.",
    "study.method.thresholds": "Thresholds of the module: dip {dip} %, swell {swell} %, interruption "
    "{interruption} % of nominal, hysteresis {hysteresis} %, fixed reference. Beyond 60 events in a burst "
    "or 20 a minute the module leaves no further records.",
    "study.method.thresholds_none": "The module never reported its thresholds.",
    "study.method.stamps": "An event lasts {convention}. An interruption lies inside the dip that carries "
    "it; dip counts include it.",
    "study.method.reference": "Reference {reference} V, nominal frequency {hertz} Hz.",
    "study.method.frequency": "10-s frequencies are means of the module's 1-s values; beyond 62 days 10-min "
    "means stand in.",
    "study.method.harmonics": "Harmonics are subgroups (IEC 61000-4-7) of 10/12-cycle snapshots, resampled "
    "to the measured period, to order {order}, the highest that 3.2 kS/s supports. Snapshots are samples, "
    "not the aggregated 10-min values of the standard.",
    "study.method.gaps": "Time without data is censored: it adds no event and no exposure, and widens the "
    "bounds. Intervals come from a block bootstrap over days ({blocks}-day blocks, seed {seed}, {resamples} "
    "resamples).",
    "study.method.clock": "Times are UTC, estimated from the module's ticks by the recording host; events "
    "are taken to be right within {error} s.",
    "study.method.states": "UPS states (IEC 62040-3 terms) are inferred from both taps, never assumed; "
    "undetermined time is not counted as normal.",
    "study.method.sources": "Tables: EN 50160 (as quoted), IEEE 1159-1995, ITIC 2000, SEMI F47, IEEE 1564; "
    "status of each value is in the source text of ingest.analysis.supply.",
    "study.method.version": "nightkeel {version}; module software {firmware}; {origin}.",
    "study.origin.simulated": "SIMULATED data of an emulated module",
    "study.origin.real": "data of a real module",
    "study.done": "{files} files below {folder}.{simulated}",
    "study.progress": "reading days",
    "study.drawing": "drawing and writing",
    "study.mark": " SIMULATED.",
    "study.bad.date": "{text} is no date; write 2026-05-11 or 2026-05-11T18:00, as --from and --to.",
    "study.bad.order": "--to {end} is not after --from {start}; give a period that runs forward.",
    "study.bad.module": "{store} holds no module {text}; it holds {known}.",
    "study.bad.empty": "{store} holds no module yet; record into it with nightkeel ingest or nightkeel night.",
    "study.bad.no_data": "{store} holds no data of module {module} from {start} to {end}; it has {first} to "
    "{last}.",
    "study.bad.reference": "A reference of {text} V is not possible; give 50 to 500.",
    "study.bad.zone": "{text} is no time zone; write one such as Asia/Kolkata.",
    "study.bad.folder": "{folder} is a file; name a folder for the study.",
}

STUDY: Final[dict[str, str]] = {**_FIGURES, **_ROWS, **_DRAWN, **_METHODS}
