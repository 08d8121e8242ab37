"""Guided checks: steps that the module measures, judged from the record, resumable, each with its figure."""
