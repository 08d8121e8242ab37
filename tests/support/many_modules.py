"""Many modules at once, in a process of their own: what one real firmware once said, said again by each.

`record(seconds)` plays the firmware once. `python -m tests.support.many_modules FRAMES COUNT SECONDS [SPEED]`
opens so many pseudo-terminals, prints their names, replays at real time and ends with what came of it. A
module keeps what isn't acknowledged and sends it again when asked; a line that takes no more is waited for.
"""

import json
import os
import pickle
import sys
import time
import tty

from firmware_sim.contract import frames, messages

SLOTS = 10
SLOT_S = 0.01
READ_MAX = 4096


def record(path, seconds, scenario="monsoon-night"):
    """Play the firmware for some seconds against a real host; keep its hello and all (tick, frame)."""
    from firmware_sim.rig.rig import Rig
    from firmware_sim.scenarios import load
    from ingest.inline import Inline

    rig, heard, hello = Rig(load(scenario)), {}, None
    host, splitter = Inline(path.with_suffix(".db"), rig.start_utc_ms), frames.Splitter()
    for second in range(seconds):
        said = rig.run(10)
        for block in splitter.feed(said):
            kind, seq, tick, payload = frames.parse(block)
            if kind == messages.HELLO:
                hello = messages.decode(kind, payload)
            elif seq:
                heard[seq] = (tick, block + b"\0")
        rig.send(host.feed(said, (second + 1) * 1000, rig.host_ms()))
    rig.stop()
    host.close()
    assert sorted(heard) == list(range(1, len(heard) + 1))
    path.write_bytes(pickle.dumps((hello, [heard[seq] for seq in sorted(heard)])))


class Player:
    """One module on one pseudo-terminal."""

    def __init__(self, number, hello, told):
        self.number, self.hello, self.told = number, hello, told
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.name = os.ttyname(self.slave)
        self.splitter, self.rest = frames.Splitter(), b""
        self.give = self.acked = self.made = 0
        self.blocked = self.resends = self.wait_ms_max = 0

    def step(self, now_ms):
        """Let the module's clock be at `now_ms`: hear the host, say what is due and what the line takes."""
        self._hear(now_ms)
        told = self.told
        while self.made < len(told) and told[self.made][0] <= now_ms:
            self.made += 1
        if self.acked < self.made:
            self.wait_ms_max = max(self.wait_ms_max, now_ms - told[self.acked][0])
        if not self.rest and self.give < self.made:
            upto = min(self.made, self.give + 64)
            self.rest, self.give = b"".join(one for _, one in told[self.give:upto]), upto
        if self.rest:
            self._say()

    def _say(self):
        try:
            taken = os.write(self.master, self.rest)
        except BlockingIOError:
            taken = 0
        self.blocked += taken < len(self.rest)
        self.rest = self.rest[taken:]

    def _hear(self, now_ms):
        try:
            data = os.read(self.master, READ_MAX)
        except BlockingIOError:
            return
        for block in self.splitter.feed(data):
            kind, _, _, payload = frames.parse(block)
            values, _ = messages.decode(kind, payload)
            if kind == messages.HELLO_REQUEST:
                self.give = self.acked
                self.rest += self._hello(now_ms)
            elif kind == messages.ACK:
                self.acked = max(self.acked, values[1])
            elif kind == messages.RESEND:
                self.resends += 1
                self.give = max(values[1] - 1, self.acked)

    def _hello(self, now_ms):
        values, firmware = self.hello
        (*first, module, _, _) = values[:11]
        values = (*first, (module + self.number) & 0xFFFFFFFF, self.acked + 1, self.made + 1, *values[11:])
        return frames.build(messages.HELLO, 0, now_ms, messages.encode(messages.HELLO, values, firmware))


def main(path, count, seconds, speed=1.0):
    """Replay to so many lines, then print what came of it."""
    with open(path, "rb") as file:
        hello, told = pickle.load(file)
    players = [Player(number, hello, told) for number in range(count)]
    print(json.dumps([one.name for one in players]), flush=True)
    sys.stdin.readline()
    began, late = time.monotonic(), 0.0
    for slot in range(round(seconds / SLOT_S)):
        if slot == round(seconds / SLOT_S / 3):
            # What came before is the daemon's start.
            for one in players:
                one.wait_ms_max = one.blocked = 0
        due = began + slot * SLOT_S
        time.sleep(max(0.0, due - time.monotonic()))
        late = max(late, time.monotonic() - due)
        for one in players[slot % SLOTS::SLOTS]:
            one.step(round(slot * SLOT_S * speed * 1000))
    print(json.dumps({
        "late_ms": round(late * 1000), "made": sum(one.made for one in players),
        "acked": sum(one.acked for one in players), "blocked": sum(one.blocked for one in players),
        "resends": sum(one.resends for one in players),
        "wait_ms_max": max(one.wait_ms_max for one in players)}), flush=True)
    sys.stdin.readline()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), float(sys.argv[3]), *map(float, sys.argv[4:]))
