"""What the analysis may ask of a mark: one shape for notes, cases, entries, checks and upkeep."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol


class Written(Protocol):
    """What a person wrote down, in its newest version."""

    @property
    def mark(self) -> int:
        """Return its number."""

    @property
    def module(self) -> int:
        """Return the module it belongs to."""

    @property
    def utc(self) -> int:
        """Return when it holds or begins, UTC ms."""

    @property
    def utc_end(self) -> int | None:
        """Return when it ends, UTC ms; None: a moment, or still open."""

    @property
    def kind(self) -> str:
        """Return its category."""

    @property
    def author(self) -> str:
        """Return who wrote this version."""

    @property
    def text(self) -> str:
        """Return what was typed."""

    @property
    def data(self) -> Mapping[str, Any]:
        """Return what it holds."""
