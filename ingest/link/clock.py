"""From board ticks to UTC."""
