"""Pure arithmetic over recorded nights: no clock, no port, no store."""
