"""Bytes in, events out; never raises on outside bytes, counts what it dropped, by reason."""
