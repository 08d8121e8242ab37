"""Codes of the oxygen cell to the purity of the source: scaled, calibrated, the median of the last five."""

NONE = -0x3FFFFFFF - 1
SPAN = 11000  # 110 % over 12 bits
KEPT = 5

OFFSET = 0  # codes
GAIN = 1  # 16384 is one
ALTITUDE = 2  # pressure at sea level over that of the site, 16384 is one
SEEN = 3  # samples, 0: none yet
VALUE = 4  # 0.01 %, NONE before the first
LAST = 5  # the newest five, in a ring
RANKED = LAST + KEPT  # ... in order
OXYGEN_WORDS = RANKED + KEPT


def oxygen_sample(code, words):
    """Take one code into `words` ('i', OXYGEN_WORDS): a single spike leaves no trace."""
    value = (code - words[OFFSET]) * SPAN // 4095
    value += value * (words[GAIN] - 16384) >> 14
    value += value * (words[ALTITUDE] - 16384) >> 14
    seen = words[SEEN]
    if seen == 0:
        for n in range(KEPT):
            words[LAST + n] = value
            words[RANKED + n] = value
    place = LAST + seen % KEPT
    gone = words[place]
    words[place] = value
    words[SEEN] = seen + 1 if seen < 999 else seen - 499
    # The new value takes the place of the one that goes, and moves from there to its rank.
    n = 0
    while words[RANKED + n] != gone:
        n += 1
    while n < KEPT - 1 and words[RANKED + n + 1] < value:
        words[RANKED + n] = words[RANKED + n + 1]
        n += 1
    while n and words[RANKED + n - 1] > value:
        words[RANKED + n] = words[RANKED + n - 1]
        n -= 1
    words[RANKED + n] = value
    words[VALUE] = words[RANKED + 2]
