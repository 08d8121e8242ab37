"""Handle half-open spans of UTC milliseconds: union, clipping, what is left over, total."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

Span = tuple[int, int]


def union(spans: Iterable[Span]) -> tuple[Span, ...]:
    """Return the spans sorted and joined where they touch or overlap; empty ones vanish."""
    joined: list[Span] = []
    for start, end in sorted(spans):
        if end <= start:
            continue
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return tuple(joined)


def clip(spans: Iterable[Span], start_ms: int, end_ms: int) -> tuple[Span, ...]:
    """Return the parts inside [start_ms, end_ms), joined."""
    return union((max(a, start_ms), min(b, end_ms)) for a, b in spans)


def outside(spans: Iterable[Span], start_ms: int, end_ms: int) -> tuple[Span, ...]:
    """Return what [start_ms, end_ms) has outside the spans."""
    left, at = [], start_ms
    for a, b in clip(spans, start_ms, end_ms):
        if a > at:
            left.append((at, a))
        at = b
    if at < end_ms:
        left.append((at, end_ms))
    return tuple(left)


def overlap(one: Sequence[Span], other: Sequence[Span]) -> tuple[Span, ...]:
    """Return where both are."""
    return union(part for a, b in union(one) for part in clip(other, a, b))


def total_ms(spans: Iterable[Span]) -> int:
    """Return the length of the union, ms."""
    return sum(b - a for a, b in union(spans))
