"""What a person can cause, re-exported so that the screens need nothing of the far side."""

from firmware_sim.contract.errors import UserError

__all__ = ["UserError"]
