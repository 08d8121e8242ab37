"""The compiled kernels, under the name by which the board takes them (see `firmware_sim.compiled`)."""

from firmware_sim.compiled import FOLDER, _cache_folder, _digest, load

__all__ = ["FOLDER", "_cache_folder", "_digest", "load"]
