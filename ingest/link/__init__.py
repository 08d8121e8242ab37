"""From bytes to events: decoder, session, clock; the port is the only user of the serial library."""
