"""Breathing as seen from circuit pressure alone: breaths, findings with evidence, trends."""
