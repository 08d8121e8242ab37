"""What one commit holds: plain data between pipeline and store."""

from dataclasses import dataclass, field

# Reasons for which the decoder and the session drop bytes or frames; columns of the table `session`.
DROPS = (
    "stuffing",
    "short",
    "crc",
    "mac",
    "unknown",
    "length",
    "overlong",
    "duplicate",
    "ahead",
    "foreign_boot",
)
COUNTERS = ("bytes", "frames", "records", *DROPS, "resend")

# A record as it came: (sequence, widened tick in ms, payload).
Record = tuple[int, int, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hello:
    """Say who speaks: the fields of the message `hello`, with `unix_s` None while the clock is unset."""

    module: int
    boot_id: int
    revision: int
    digest_low: int
    digest_high: int
    nonce_low: int
    nonce_high: int
    emulated: bool
    profile: int
    firmware: str
    oldest_seq: int
    next_seq: int
    tick: int
    module_utc: int
    nominal_v: int
    nominal_hz: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockFit:
    """Map the ticks of one boot to UTC: utc0 + tick + tick * rate_ppb / 1e9, all in ms.

    `tick` is where the estimate was made, `residual_ms` how far the newest point was from it, `module_utc`
    the module's own clock there (None unknown), `step` whether the host's clock jumped.
    """

    tick: int
    utc0: int
    rate_ppb: int
    residual_ms: int
    module_utc: int | None
    step: bool

    def utc(self, tick: int) -> int:
        """Return the estimated UTC in ms of a widened tick."""
        return self.utc0 + tick + tick * self.rate_ppb // 1_000_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Cursor:
    """Say how far a boot is committed. `fit` is None before the first hello was timed."""

    boot: int
    last_seq: int
    last_tick: int
    fit: ClockFit | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Mark records that will never come: sequences first to last, ticks in ms.

    `count` is how many of that range are missing, `kinds` a bit set of message ids (bit id - 16; 0 unknown).
    """

    first_seq: int
    last_seq: int
    from_tick: int
    to_tick: int
    count: int
    kinds: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Count what one link did since its port was opened; times in UTC ms."""

    link: str
    opened_utc: int
    seen_utc: int
    closed_utc: int | None
    reason: str
    counters: dict[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Hold everything that one commit adds for one boot; the cursor moves with it.

    `records` maps a message id to its records in order of sequence.
    """

    boot: int
    last_seq: int
    last_tick: int
    session: Session
    records: dict[int, list[Record]] = field(default_factory=dict)
    gaps: tuple[Gap, ...] = ()
    fits: tuple[ClockFit, ...] = ()
