"""Commands of the near side, one module each, loaded only when called."""
