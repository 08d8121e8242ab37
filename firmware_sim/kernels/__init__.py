"""Integer hot loops and models shared by board and host; pure, in the subset that MicroPython runs."""
