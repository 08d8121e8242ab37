"""Named nights as data: start, timed events, seed, and what must be found in them."""
