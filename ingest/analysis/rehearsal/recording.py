"""What a rehearsal needs of one boot of a module, as recorded. Steps count 100 ms from the boot, from 0."""

from dataclasses import dataclass

STEP_MS = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Hold engine inputs without a hole: the first begins whole, the rest goes on from it.

    `codes` as `firmware_sim.contract.inputs` describes them, step after step.
    """

    first_step: int
    steps: int
    codes: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """Hold what was done to the engine before a step: other settings, a pause or an acknowledgement.

    `settings` None: a press. `row` of an acknowledgement, None for a pause.
    """

    step: int
    settings: tuple[int, ...] | None = None
    row: int | None = None
    from_page: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """Hold one transition of the engine; `tick` in ms since the boot. Equal means the same in every field."""

    tick: int
    row: int
    transition: int
    priority: int
    flags: int
    value: int | None
    limit: int | None
    cause: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """Hold one boot: inputs, what was done, latched rows that a reset brought back, recorded transitions.

    A tick is `utc0_ms + tick + tick * rate_ppb / 1e9` in UTC ms. `end_step` is the boot's last known step;
    `settings` those in force before the first act.
    """

    boot: int
    utc0_ms: int
    rate_ppb: int
    end_step: int
    settings: tuple[int, ...]
    stretches: tuple[Stretch, ...]
    acts: tuple[Act, ...]
    restored: tuple[int, ...]
    recorded: tuple[Transition, ...]

    def utc_ms(self, tick: int) -> int:
        """Return the UTC of a tick."""
        return self.utc0_ms + tick + tick * self.rate_ppb // 1_000_000_000

    def holes_ms(self) -> list[tuple[int, int]]:
        """Return the UTC spans of this boot whose inputs are missing."""
        holes, at = [], 0
        for stretch in self.stretches:
            if stretch.first_step > at:
                holes.append((self.utc_ms(at * STEP_MS), self.utc_ms(stretch.first_step * STEP_MS)))
            at = stretch.first_step + stretch.steps
        if self.end_step > at:
            holes.append((self.utc_ms(at * STEP_MS), self.utc_ms(self.end_step * STEP_MS)))
        return holes
