"""The hal for real boards."""
