"""Pure step: (state, event, now) -> (state, effects)."""
