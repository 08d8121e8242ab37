"""Forwarding from a cursor in the store to servers elsewhere."""
