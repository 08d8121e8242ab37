"""Run recorded nights again through the module's own alarm engine, with other settings.

Pure: what was recorded comes in as `Recording`s (the reader makes them), the kernels are handed in, plain or
compiled. Nothing here can send a setting to a module.
"""
