"""Battery support as a lower bound: the last proven discharge x charge x ageing.

Without a battery channel nobody measures the drain, so the charge is reckoned: it falls by the proven time
while the output lives on stored energy, and rises while the input is good. Recharge: bulk to 85 % in 60 %
of the recharge time, the rest in 40 % (85 and 95 %: UPS handbook, McGraw-Hill 2004, p. 197; the split of
the time is common practice, no source). Ageing: 10 % of the capacity a year since the test (common
practice, no source). All integers; full charge is 2^28.
"""

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
BATTERY_STATE = 8

UNDETERMINED, NORMAL, STORED_ENERGY, BYPASS, DEAD = 0, 1, 2, 3, 4
YEAR_LOSS = 10  # per cent


def battery_second(state, supply_state, previous):
    """Advance one second; `previous` is the supply state before, so that death on battery empties it."""
    charge = state[CHARGE]
    proven = _aged(state)
    if supply_state == STORED_ENERGY:
        charge -= FULL // proven if proven else FULL // 60
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
    state[LEFT_S] = battery_left(proven, charge)


def battery_left(proven_s, charge):
    """Return whole seconds: the aged proven time times the charge, rounded down (86,400 s at most)."""
    return (charge >> 14) * (proven_s >> 3) >> 11 if proven_s > 8000 else (charge >> 12) * proven_s >> 16


def _aged(state):
    """Return the proven seconds less what age has taken since."""
    proven = state[PROVEN_S]
    days = state[TEST_AGE_D]
    if days > 3650:
        return 0
    if days > 0:
        proven -= proven * YEAR_LOSS // 100 * days // 365
    return proven


def _gain(charge, recharge_s):
    if recharge_s < 1:
        return 0
    if charge < BULK:
        return BULK // (recharge_s * 6 // 10 + 1)
    return (FULL - BULK) // (recharge_s * 4 // 10 + 1)
