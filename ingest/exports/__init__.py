"""Turn recorded nights into open formats: arrays in, bytes out."""
