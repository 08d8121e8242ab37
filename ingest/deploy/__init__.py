"""Unit files and a udev rule for a machine that records every night."""
