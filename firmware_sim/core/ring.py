"""The ring of records that the host has not acknowledged: bounded bytes, no fragmentation, a place for each.

Memory is a pool of 32-byte blocks; a record is a row or a chain of blocks behind a small header. An empty
ring begins anew at its first block, so records lie in a row while the host keeps up. Records wait in one
queue a class. When blocks run short the oldest record of the lowest class goes first, never one of a higher
class than the newcomer's: samples before captures, those before trends, breaths, and events last.
"""

import struct
from array import array

from firmware_sim.contract import messages as m

BLOCK = 32
HEADER = "<IIHBi"
HEADER_SIZE = 15

SAMPLES = 0
CAPTURES = 1
TRENDS = 2
BREATHS = 3
EVENTS = 4
CLASSES = 5
# Above every sequence.
NEVER = 0x3FFFFFFF

CLASS_OF = {
    m.PRESSURE_WAVE: SAMPLES, m.SUPPLY_CYCLES: SAMPLES, m.INPUTS: SAMPLES,
    m.CAPTURE: CAPTURES, m.HALF_CYCLES: CAPTURES,
    m.TREND: TRENDS, m.HEALTH: TRENDS, m.RAW: TRENDS,
    m.BREATH: BREATHS,
    m.SUPPLY_EVENT: EVENTS, m.ALARM: EVENTS, m.LOG: EVENTS, m.SETTINGS: EVENTS, m.COMMAND_RESULT: EVENTS,
    m.SUPPLY_STATE: EVENTS, m.CALIBRATION: EVENTS,
}


class Ring:
    """Keep records until acknowledged; give them out in sequence, from wherever the host asks.

    `capacity` in bytes, bookkeeping of the blocks included. `lost` counts records overwritten or refused.
    """

    def __init__(self, capacity):
        blocks = capacity // (BLOCK + 2)
        if blocks > 65000:
            blocks = capacity // (BLOCK + 4)
        self.blocks = blocks
        self.memory = bytearray(blocks * BLOCK)
        # Block `blocks` is the end of every chain. A first block that has no follower: the rest of its record
        # lies behind it in a row.
        self.follow = array("H" if blocks <= 65000 else "i", range(1, blocks + 1))
        # The chain of blocks used and free again; from `fresh` on none was used since the ring was empty.
        self.free = blocks
        self.fresh = 0
        self.free_count = blocks
        self.head = [-1] * CLASSES
        self.tail = [-1] * CLASSES
        # Where the reader stands in each queue: the first record not given out yet.
        self.reader = [-1] * CLASSES
        self.reader_seq = [NEVER] * CLASSES
        self.next_seq = 1
        self.acked = 0
        self.give_seq = 1
        self.given_tick = 0
        self.acked_tick = 0
        self.lost = 0
        self.lost_seq = 0
        self.lost_kinds = 0

    def put(self, kind, tick, payload):
        """Store one record and return its sequence; in need a lower one is overwritten, or this one lost."""
        seq = self.next_seq
        self.next_seq = seq + 1
        size = len(payload)
        need = (size + HEADER_SIZE + BLOCK - 1) // BLOCK
        rank = CLASS_OF[kind]
        if self.free_count < need and not self._make_room(need, rank):
            self._count_lost(seq, kind)
            return seq
        at = self.fresh
        fresh = at + need
        if fresh <= self.blocks:
            self.fresh = fresh
            start = at * BLOCK
            struct.pack_into(HEADER, self.memory, start, seq, tick, size, kind, -1)
            start += HEADER_SIZE
            self.memory[start:start + size] = payload
            self.follow[at] = self.blocks
        else:
            at = self._fill(struct.pack(HEADER, seq, tick, size, kind, -1) + payload, need)
        self.free_count -= need
        tail = self.tail[rank]
        if tail < 0:
            self.head[rank] = at
        else:
            struct.pack_into("<i", self.memory, tail * BLOCK + 11, at)
        self.tail[rank] = at
        if self.reader[rank] < 0:
            self.reader[rank] = at
            self.reader_seq[rank] = seq
        return seq

    def _fill(self, data, need):
        """Store a record in blocks of the free chain; return the first."""
        memory = self.memory
        follow = self.follow
        if self.fresh < self.blocks:
            self._chain(self.fresh, self.blocks - 1)
            self.fresh = self.blocks
        first = at = self.free
        place = 0
        for _ in range(need - 1):
            start = at * BLOCK
            memory[start:start + BLOCK] = data[place:place + BLOCK]
            place += BLOCK
            at = follow[at]
        start = at * BLOCK
        memory[start:start + len(data) - place] = data[place:]
        self.free = follow[at]
        follow[at] = self.blocks
        return first

    def _chain(self, at, last):
        """Put a row of blocks, first and last named, before the free chain."""
        follow = self.follow
        for block in range(at, last):
            follow[block] = block + 1
        follow[last] = self.free
        self.free = at

    def _make_room(self, need, rank):
        for lower in range(rank + 1):
            while self.head[lower] >= 0:
                at = self.head[lower]
                seq, _, _, kind, _ = struct.unpack_from(HEADER, self.memory, at * BLOCK)
                self._count_lost(seq, kind)
                self._drop(lower)
                if self.free_count >= need:
                    return True
        return False

    def _count_lost(self, seq, kind):
        self.lost += 1
        self.lost_kinds |= 1 << (kind - m.TREND)
        if seq > self.lost_seq:
            self.lost_seq = seq

    def _drop(self, rank):
        at = self.head[rank]
        size, _, after = struct.unpack_from("<HBi", self.memory, at * BLOCK + 8)
        if self.reader[rank] == at:
            self._read_on(rank, after)
        self.head[rank] = after
        if after < 0:
            self.tail[rank] = -1
        more = (size + HEADER_SIZE - 1) // BLOCK
        follow = self.follow
        if follow[at] == self.blocks:
            self._chain(at, at + more)
        else:
            last = at
            for _ in range(more):
                last = follow[last]
            follow[last] = self.free
            self.free = at
        self.free_count += more + 1

    def give(self):
        """Return the next (kind, seq, tick, payload) in sequence, or None when all was given out.

        A run of missing records comes as one `lost` record in its place.
        """
        if self.give_seq >= self.next_seq:
            return None
        best = min(self.reader_seq)
        if best > self.give_seq:
            return self._give_lost(min(best, self.next_seq))
        rank = self.reader_seq.index(best)
        at = self.reader[rank]
        seq, tick, size, kind, after = struct.unpack_from(HEADER, self.memory, at * BLOCK)
        self._read_on(rank, after)
        self.give_seq = best + 1
        self.given_tick = tick
        return kind, seq, tick, self._payload(at, size)

    def _read_on(self, rank, at):
        self.reader[rank] = at
        self.reader_seq[rank] = self._seq(at) if at >= 0 else NEVER

    def _give_lost(self, best):
        first = self.give_seq
        last = best - 1
        to_tick = self.given_tick
        if best < self.next_seq:
            to_tick = self._tick(self.reader[self.reader_seq.index(best)])
        self.give_seq = best
        payload = m.encode(m.LOST, (first, last, last - first + 1, self.lost_kinds, self.given_tick, to_tick))
        return m.LOST, last, to_tick, payload

    def _seq(self, at):
        at *= BLOCK
        memory = self.memory
        return memory[at] | memory[at + 1] << 8 | memory[at + 2] << 16 | memory[at + 3] << 24

    def _tick(self, at):
        return struct.unpack_from("<I", self.memory, at * BLOCK + 4)[0]

    def _after(self, at):
        return struct.unpack_from("<i", self.memory, at * BLOCK + 11)[0]

    def _payload(self, at, size):
        memory = self.memory
        follow = self.follow
        if follow[at] == self.blocks:
            start = at * BLOCK + HEADER_SIZE
            return bytes(memory[start:start + size])
        out = bytearray()
        for _ in range((size + HEADER_SIZE + BLOCK - 1) // BLOCK):
            start = at * BLOCK
            out += memory[start:start + BLOCK]
            at = follow[at]
        return bytes(out[HEADER_SIZE:HEADER_SIZE + size])

    def ack(self, seq):
        """Forget all records up to `seq`, which must have been given out; return False when it was not."""
        if seq >= self.give_seq:
            return False
        if seq <= self.acked:
            return True
        if seq == self.next_seq - 1:
            self._drop_all()
        else:
            self._drop_to(seq)
        self.acked = seq
        if seq >= self.lost_seq:
            self.lost_kinds = 0
        return True

    def _drop_all(self):
        """Empty the ring, all of it having been given out."""
        newest = 0
        for at in self.tail:
            if at >= 0 and self._seq(at) > newest:
                newest = self._seq(at)
                self.acked_tick = self._tick(at)
        for rank in range(CLASSES):
            self.head[rank] = self.tail[rank] = -1
        self.free_count = self.free = self.blocks
        self.fresh = 0

    def _drop_to(self, seq):
        newest = 0
        for rank in range(CLASSES):
            at = self.head[rank]
            while at >= 0:
                number = self._seq(at)
                if number > seq:
                    break
                if number > newest:
                    newest = number
                    self.acked_tick = self._tick(at)
                self._drop(rank)
                at = self.head[rank]

    def rewind(self, seq=0):
        """Give out again from `seq`, or from the oldest unacknowledged record."""
        seq = max(seq, self.acked + 1)
        if seq >= self.give_seq:
            return
        self.give_seq = seq
        self.given_tick = self.acked_tick
        newest = 0
        for rank in range(CLASSES):
            at = self.head[rank]
            while at >= 0 and self._seq(at) < seq:
                if self._seq(at) > newest:
                    newest = self._seq(at)
                    self.given_tick = self._tick(at)
                at = self._after(at)
            self._read_on(rank, at)

    def oldest(self):
        """Return the oldest sequence still wanted by the host."""
        return self.acked + 1

    def fill(self):
        """Return how full the pool is, in thousandths."""
        return (self.blocks - self.free_count) * 1000 // self.blocks
