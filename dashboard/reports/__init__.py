"""Printed matter: handover, study, certificates."""
