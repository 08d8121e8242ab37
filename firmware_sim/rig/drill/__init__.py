"""Prove every row of the alarm table on the emulated board: stimuli at the converter, answers at the pins."""
