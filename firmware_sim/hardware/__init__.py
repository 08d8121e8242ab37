"""Numbers of a real board, worked out from data: what the hardware notes say, held against the emulator."""
