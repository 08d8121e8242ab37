"""Run every kernel over recorded inputs and print a checksum of each array; for any Python interpreter."""

import array
import binascii
import struct
import sys

PRESSURE = 9000  # samples at the end of the recording



def _crc(values):
    return str(binascii.crc32(struct.pack("<" + str(len(values)) + "i", *values)) & 0xFFFFFFFF)


def _load(path, blocks):
    with open(path, "rb") as file:
        data = file.read()
    values = array.array("h", data)
    size = blocks * 320
    taps = (len(values) - PRESSURE) // 2
    return values[:size], values[taps:taps + size], values[2 * taps:]


def run(kernels, path, blocks, lock, unlock):
    """Return checksums; `lock` and `unlock` enclose each run of kernels."""
    from firmware_sim.kernels import battery, breath, evidence, sensor, supply

    before, after, pressure = _load(path, blocks)
    first = [before[n * 320:(n + 1) * 320] for n in range(blocks)]
    second = [after[n * 320:(n + 1) * 320] for n in range(blocks)]
    parts = [pressure[n * 10:(n + 1) * 10] for n in range(900)]
    ring = array.array("h", bytes(4 * supply.RING))
    state = array.array("i", bytes(4 * supply.STATE_WORDS))
    compare = array.array("i", bytes(4 * evidence.COMPARE_WORDS))
    breaths = array.array("i", bytes(4 * sensor.PRESSURE_STATE))
    wave = array.array("h", bytes(20))
    records = array.array("i", bytes(4 * breath.BREATH_WORDS * 4))
    charge = array.array("i", bytes(4 * battery.BATTERY_STATE))
    charge[:5] = array.array("i", [100 << 20, 1500, 100, 180, 28800])
    charge[battery.AMPERES_MEAN] = charge[battery.VOLTS_MEAN] = -1
    charge[battery.TEST_AMPERES] = 150
    charge[battery.CURVE:] = array.array("i", [4420, 4425, 4430, 4446, 4480, 4548, 4695, 5040])
    kernels.supply_reset(state, 50)
    kernels.supply_limits(state, 23000, 50, 9000, 11000, 1000, 200)
    kernels.compare_reset(compare)
    kernels.breath_reset(breaths, 1, 1000)
    breaths[sensor.P_GAIN] = 16500
    breaths[sensor.P_OFFSET] = 3
    sums = []
    seen = 0
    for n in range(blocks):
        lock()
        kernels.supply_block(first[n], second[n], 0, ring, state)
        if n % 10 == 9:
            kernels.compare_taps(ring, state, compare)
        unlock()
        seen = (seen * 31 + state[supply.COMMON + supply.LOW] + state[supply.EVENT_COUNT]) & 0xFFFFFF
    for n in range(900):
        breaths[breath.MODE] = 1 if n < 300 else 3 if n < 600 else 0
        lock()
        kernels.pressure_block(parts[n], 0, 10, wave, breaths, records)
        rate = kernels.breath_rate(breaths)
        charge[battery.AMPERES], charge[battery.VOLTS] = 100 + n % 97, 5200 - n
        kernels.battery_second(charge, n % 5 if n < 100 else 2, (n + 4) % 5 if n < 100 else 2)
        unlock()
        rate += charge[battery.LEFT_S]
        seen = (seen * 31 + rate + wave[n % 10] + breaths[breath.FOUND] * records[2]) & 0xFFFFFF
    for values in (ring, state, compare, breaths, records, charge):
        sums.append(_crc(values))
    sums.append(str(seen))
    return sums


if __name__ == "__main__":
    import micropython

    sys.path.insert(0, sys.argv[1])
    from firmware_sim import kernels as plain

    sums = run(plain, sys.argv[2], int(sys.argv[3]), micropython.heap_lock, micropython.heap_unlock)
    print("\n".join(sums))
