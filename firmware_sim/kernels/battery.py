"""Battery support as a lower bound: the last proven discharge x charge x ageing x load, and voltage.

The charge is reckoned: it falls by the time carried while the output lives on stored energy, and rises while
the input is good. Recharge: bulk to 85 % in 60 % of the recharge time, the rest in 40 % (85 and 95 %: UPS
handbook, McGraw-Hill 2004, p. 197; the split of the time is common practice, no source). Ageing: 10 % of the
capacity a year since the test (common practice, no source).

Where the UPS's current and the battery's voltage are measured, they are compared with the test; both only
shorten. Load: the test's mean current over the present one (mean of about a minute), to the power 13/8, which
roots make and which lies just beyond the worst published Peukert exponent, 1.6. Voltage (mean of a quarter of
a minute): on the battery no more than the test still gave at this voltage, and less in proportion if the
voltage has come down the test's curve faster than in the test, as a battery that has lost capacity does. With
a lighter load than in the test the voltage stands higher and tells less. All integers; full charge is 2^28.
"""

from firmware_sim.kernels.evidence import whole_root

FULL = 1 << 28
BULK = FULL // 100 * 85
# Words of the state ('i', BATTERY_STATE).
CHARGE = 0
PROVEN_S = 1  # 0: never proven
TEST_AGE_D = 2  # days since the test, -1: not known
AGE_MAX_D = 3
RECHARGE_S = 4
PROVEN = 5  # 1: proven and not too old
LEFT_S = 6  # lower bound; 0 when not known
BY_VOLTAGE = 7  # 1: the voltage allows less than charge and load
AMPERES = 8  # now, 0.01 A; -1: not fitted
VOLTS = 9  # now, 0.01 V; -1: not fitted
AMPERES_MEAN = 10  # 1/64 of 0.01 A; -1: none yet
VOLTS_MEAN = 11  # 1/16 of 0.01 V; -1: none yet
STORED_S = 12  # on stored energy so far, 0 when not
TEST_AMPERES = 13  # 0.01 A; 0: not measured
SETTLED_AT = 14  # seconds of the test's curve left when the battery had settled
CURVE = 15  # 0.01 V when the test had 0, 1/64, 1/32 ... 1/2, all of its time left; 0: not measured
CURVE_POINTS = 8
BATTERY_STATE = CURVE + CURVE_POINTS

UNDETERMINED, NORMAL, STORED_ENERGY, BYPASS, DEAD = 0, 1, 2, 3, 4
YEAR_LOSS = 10  # per cent
LOAD_ONE = 4096
# A battery just put to work dips before it settles; until then its voltage says nothing (from memory).
SETTLED_S = 60
FRESH_S = 3  # so long a reading may still be the charger's
PACE_S = 60  # so long after that its pace counts
VOLTS_ERROR = 200  # one part in; the channel is isolated and coarse


def battery_second(state, supply_state, previous):
    """Advance one second; `previous` is the supply state before, so that death on battery empties it."""
    charge = state[CHARGE]
    proven = battery_aged(state[PROVEN_S], state[TEST_AGE_D])
    _means(state, supply_state)
    # At most 86,400 s x 4096, within 2^30.
    carried = proven * battery_load(state[TEST_AMPERES], state[AMPERES_MEAN] >> 6) // LOAD_ONE
    if supply_state == STORED_ENERGY:
        charge -= FULL // carried if carried else FULL // 60
    elif supply_state == DEAD and previous == STORED_ENERGY:
        charge = 0
    elif supply_state == NORMAL or supply_state == BYPASS:
        charge += _gain(charge, state[RECHARGE_S])
    if charge < 0:
        charge = 0
    elif charge > FULL:
        charge = FULL
    state[CHARGE] = charge
    state[PROVEN] = 1 if proven and 0 <= state[TEST_AGE_D] <= state[AGE_MAX_D] else 0
    left = battery_left(carried, charge)
    by_voltage = left
    if state[STORED_S] > SETTLED_S:
        by_voltage = _at_pace(state, battery_at_voltage(state, carried))
    state[BY_VOLTAGE] = 1 if by_voltage < left else 0
    state[LEFT_S] = by_voltage if by_voltage < left else left


def battery_left(proven_s, charge):
    """Return whole seconds: the aged proven time times the charge, rounded down (86,400 s at most)."""
    return (charge >> 14) * (proven_s >> 3) >> 11 if proven_s > 8000 else (charge >> 12) * proven_s >> 16


def battery_aged(proven_s, days):
    """Return the proven seconds less what age has taken since."""
    if days > 3650:
        return 0
    if days > 0:
        return proven_s - proven_s * YEAR_LOSS // 100 * days // 365
    return proven_s


def battery_load(then, now):
    """Return how far a load shortens against the test's, LOAD_ONE for a lighter or an unknown one.

    Any unit, the same for both, `then` below 2^16.
    """
    if then < 1 or now <= then:
        return LOAD_ONE
    share = (then << 14) // now
    half = whole_root(share << 14)
    eighth = whole_root(whole_root(half << 14) << 14)
    return (share * half >> 14) * eighth >> 16


def battery_at_voltage(state, carried):
    """Return the seconds that the test's curve allows at the present voltage; straight between its points.

    All of `carried` without voltage or curve, and for one so far below the curve that no UPS would still run
    on it: then the channel is at fault.
    """
    volts = state[VOLTS_MEAN] >> 4
    if state[VOLTS] < 0 or state[CURVE] == 0 or volts < state[CURVE] >> 1:
        return carried
    volts -= volts // VOLTS_ERROR
    for k in range(CURVE_POINTS - 1, -1, -1):
        over = volts - state[CURVE + k]
        if over >= 0:
            if k == CURVE_POINTS - 1:
                return carried
            left = carried >> (CURVE_POINTS - 1 - k) if k else 0
            rise = state[CURVE + k + 1] - state[CURVE + k]
            return left + (((carried >> (CURVE_POINTS - 2 - k)) - left) * ((over << 10) // rise) >> 10)
    return 0


def _at_pace(state, left):
    """Return what is left if the curve is followed on at the pace since the battery had settled."""
    since = state[STORED_S] - SETTLED_S
    if since == 1:
        state[SETTLED_AT] = left
    taken = state[SETTLED_AT] - left
    if since < PACE_S or taken <= since:
        return left
    return left * ((since << 10) // taken) >> 10


def _means(state, supply_state):
    """Follow both channels; the voltage begins anew with each time on the battery."""
    state[STORED_S] = state[STORED_S] + 1 if supply_state == STORED_ENERGY else 0
    amperes, volts = state[AMPERES], state[VOLTS]
    mean = state[AMPERES_MEAN]
    state[AMPERES_MEAN] = -1 if amperes < 0 else amperes << 6 if mean < 0 else mean + amperes - (mean >> 6)
    mean = state[VOLTS_MEAN]
    fresh = mean < 0 or state[STORED_S] <= FRESH_S
    state[VOLTS_MEAN] = -1 if volts < 0 else volts << 4 if fresh else mean + volts - (mean >> 4)


def _gain(charge, recharge_s):
    if recharge_s < 1:
        return 0
    if charge < BULK:
        return BULK // (recharge_s * 6 // 10 + 1)
    return (FULL - BULK) // (recharge_s * 4 // 10 + 1)
