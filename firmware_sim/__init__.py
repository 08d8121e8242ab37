"""The far side of the cable: the firmware, the emulated board it runs on, and the world it measures."""
