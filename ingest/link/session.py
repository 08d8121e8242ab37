"""The state table of one link session."""
