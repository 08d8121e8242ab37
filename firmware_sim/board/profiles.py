"""The two boards that are emulated: what they have, in bytes and pages."""

from typing import NamedTuple


class Profile(NamedTuple):
    """One board.

    `ring_bytes` for records the host has not acknowledged, `memory_free` what the firmware leaves on such a
    board (emulated: a constant), `number` as in the hello.
    """

    name: str
    number: int
    flash_pages: int
    ring_bytes: int
    memory_free: int


PROFILES = {
    "small": Profile("small", 0, 64, 96 * 1024, 40 * 1024),
    "large": Profile("large", 1, 64, 8 * 1024 * 1024, 512 * 1024),
}
BAUD = 230_400
# Ten bits a byte (start, eight, stop), ten steps a second.
BYTES_PER_STEP = BAUD // 100
