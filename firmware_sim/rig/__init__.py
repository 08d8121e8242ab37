"""The only wiring of world, board and firmware; virtual time, or paced."""
