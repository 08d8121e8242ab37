"""Commands of the screens and reports, one module each, loaded only when called."""
