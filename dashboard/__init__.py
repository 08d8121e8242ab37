"""Screens and reports over the store."""
