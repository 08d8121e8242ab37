"""The firmware: sampling, annunciation, settings, event log, link. Gets a hal; knows no clock or file."""
