"""Physics, one file a plant part: step(state, inputs, dt_s) -> state."""
