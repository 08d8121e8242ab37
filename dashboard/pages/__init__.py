"""Layout and short callbacks, one page a file."""
