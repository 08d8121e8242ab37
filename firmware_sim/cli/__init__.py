"""Commands of the far side, one module each, loaded only when called."""
