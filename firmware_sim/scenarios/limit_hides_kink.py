"""The relief valve hides a kink."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_KINK = 30 * MINUTE

SCENARIO = Scenario(
    name="limit-hides-kink",
    title="The limit hides the kink",
    description=(
        "Invented. The ventilator's relief valve opens at 30 cmH2O. The tube kinks almost shut behind "
        "the tee: the peak stays at 30 while hardly any gas reaches the lung. Pressure alone can't tell "
        "this from stiff lungs, and must say so. After 10 min somebody finds the kink."
    ),
    start="2026-02-19T16:00:00",
    duration_s=1 * HOUR,
    seed=30,
    settings={"patient": ADULT, "ventilator": {**BELLOWS_ADULT, "limit_cmh2o": 30.0}},
    initial=warm(),
    events=(*attended(), at(_KINK, "circuit", "kink", r_cmh2o_s_l=900.0, duration_s=600.0)),
    must_find=(
        find("pressure", _KINK + 60, _KINK + 590, peak_cmh2o=[29.5, 30.5]),
        # The limit confirmed at the bed is typical peak + 12, above what the valve lets through.
        never("alarm", _KINK, _KINK + 600, condition="pressure_high"),
        find("note", _KINK, _KINK + 600, text_key="cannot_tell_kink"),
    ),
)
