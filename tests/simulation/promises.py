"""What we claim to survive, fault by fault, and what we don't: the table of the developers' notes."""

from typing import NamedTuple


class Promise(NamedTuple):
    """One fault: its switches in the simulator, the checks that watch, the test with real processes."""

    fault: str
    switches: tuple
    checks: tuple
    real: str
    measured: str


_LINE = ("nothing invented", "nothing lost in silence", "nothing twice")
PROMISES = (
    Promise("bytes lost, changed, doubled on the line", ("link.drop", "link.flip", "link.duplicate"), _LINE,
            "tests/ingest/daemon: garbage on the line", "each record once and unchanged, or a gap"),
    Promise("foreign bytes without a delimiter", ("link.noise",), ("queues bounded", "nothing invented"),
            "tests/ingest/daemon: garbage on the line", "a decoder keeps one frame at most"),
    Promise("line stalled or unplugged", ("link.stall", "link.unplug"), (*_LINE, "settles"),
            "tests/ingest/daemon: unplugged", "all again in the store after the plug is back"),
    Promise("the host's process killed", ("host.kill",), ("acknowledged means durable", "nothing twice"),
            "tests/crash: 20 kills, 200 in the soak",
            "20 and 200 kills: nothing missing, nothing twice, no gap"),
    Promise("the host loses power inside a commit", ("disk.torn",),
            ("acknowledged means durable", "the model agrees"), "tests/crash: log cut and flipped",
            "whole batches at 60 + 300 places"),
    Promise("disk error, disk full", ("disk.error", "disk.full"),
            ("acknowledged means durable", "the model agrees", "settles"),
            "tests/ingest/daemon: a disk that takes no more; tests/crash: a small file system fills up",
            "one sentence, nothing acknowledged lost, goes on once there is room"),
    Promise("a disk that may only be read", (), (), "tests/crash: mounted for reading only",
            "read as ever, not written, said in one sentence"),
    Promise("anything at all on the wire, the control socket, in a settings file, to a page's callback", (),
            ("queues bounded",), "tests/ingest and tests/dashboard: hypothesis; by hand: atheris",
            "38,549 guided runs of decoder and pipeline in 271 s: no exception, a frame at most kept"),
    Promise("a module that reads nothing", (), (), "tests/ingest/daemon: a module that hears nothing",
            "64 kB kept for it, the other links go on"),
    Promise("date of the host set, host's clock drifts", ("clock.host_step", "clock.host_drift"),
            ("nothing invented", "forwarded whole"), "tests/crash: a year back, a day forward (soak)",
            "labels move, no record does"),
    Promise("date of the module set or lost; its ticks wrap", ("clock.module_step", "clock.tick_wrap"),
            ("nothing invented",), "tests/ingest/link: widened past the wrap", "order is by widened tick"),
    Promise("power fails in a flash write", ("flash.torn", "module.command"), ("settings whole",),
            "tests/firmware_sim/rig: torn flash", "the old set or the new one, never a mixture"),
    Promise("module resets, its hello lost or not", ("module.reset", "link.drop"),
            ("alarms in time", "nothing invented", "nothing lost in silence"), "tests/crash: another boot",
            "armed again; the old boot ends without a hole, and no record stands under the wrong one"),
    Promise("host away for longer than the ring lasts", ("module.small_ring", "link.unplug"),
            ("alarms outlive samples", "nothing lost in silence"), "tests/firmware_sim/rig: small board",
            "samples go first, each loss is a recorded gap"),
    Promise("server away, slow, full of refusals", ("sink.outage", "sink.slow", "sink.status", "sink.refuse"),
            ("forwarded whole", "settles"), "tests/ingest/daemon: a dead server; tests/ingest/sinks",
            "each line once and the same, but those refused by content"),
    Promise("eight hours without a pause", (), ("queues bounded",), "tests/crash: eight hours (soak)",
            "64.0 MB after an hour, 64.4 MB in the eighth; 14 open files"),
)

NOT_SURVIVED = (
    ("a damaged frame whose CRC fits by chance",
     "one of 65,536 damaged frames may pass, if its kind, length and number fit as well"),
    ("the module's memory at a reset",
     "records that no host had committed are gone; alarms and events stay in the flash log"),
    ("a disk that says it has written and has not", "the store trusts a sync that succeeded"),
    ("damage to the store file itself", "`nightkeel verify` finds it; a backup mends it"),
    ("a host's date set back so that two points of one series get the same millisecond",
     "the server keeps one of them; the store has both"),
)


def write_promises():
    """Write the table of faults survived."""
    lines = ["| fault | simulator switch | checker | test with real processes | last measured |",
             "| --- | --- | --- | --- | --- |"]
    for row in PROMISES:
        switches = ", ".join(f"`{one}`" for one in row.switches)
        lines.append(f"| {row.fault} | {switches} | {', '.join(row.checks)} | {row.real} | {row.measured} |")
    return "\n".join(lines)


def write_not_survived():
    """Write the table of faults that cost something."""
    lines = ["| not survived | what then |", "| --- | --- |"]
    return "\n".join(lines + [f"| {fault} | {then} |" for fault, then in NOT_SURVIVED])


BLOCKS = {"promises": write_promises, "not-survived": write_not_survived}
