"""Whether the firmware's files read back as the bundle wrote them: memory wears, a copy may be cut short."""

import hashlib

import firmware_sim

# Beside main.py: a line a file, SHA-256 in hexadecimal digits and the path.
SUMS = "program.sums"


def is_sound():
    """Return True, False, or None where no list of sums lies beside the firmware."""
    folder = firmware_sim.__file__.rsplit("firmware_sim", 1)[0]
    try:
        with open(folder + SUMS) as file:
            lines = file.read().split("\n")
    except OSError:
        return None
    buffer = memoryview(bytearray(512))
    for line in lines:
        if line:
            wanted, name = line.split()
            if sum_of(folder + name, buffer) != wanted:
                return False
    return True


def sum_of(name, buffer):
    """Return the SHA-256 of a file, None when it can't be read."""
    found = hashlib.sha256()
    try:
        with open(name, "rb") as file:
            count = file.readinto(buffer)
            while count:
                found.update(buffer[:count])
                count = file.readinto(buffer)
    except OSError:
        return None
    return "".join(["%02x" % byte for byte in found.digest()])
