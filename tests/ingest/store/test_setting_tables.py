"""The settings as readers of a store see them agree with the module's own check."""

import random

import pytest

from firmware_sim.contract import settings as s
from ingest.store.reader import tables


def test_a_sound_set_has_no_fault():
    assert tables.setting_faults(tuple(s.defaults(0))) == []
    assert tables.setting_faults(tuple(s.defaults(1))) == []


def test_faults_are_found_exactly_when_the_module_would_refuse():
    chance = random.Random(5)
    refused = 0
    for _ in range(400):
        values = s.defaults(chance.randrange(2))
        for row in chance.sample(s.SETTINGS, 3):
            values[row.id] = chance.randint(row.low - 1, row.high + 1)
        faults = tables.setting_faults(tuple(values))
        assert bool(faults) == (s.check(values) is not None), values
        refused += bool(faults)
    assert 40 < refused < 380


@pytest.mark.parametrize(
    ("change", "reason", "setting", "other"),
    [
        ({"pressure.high": 9}, "bounds", "pressure.high", None),
        ({"pressure.low": 50}, "order", "pressure.low", "pressure.high"),
        ({"supply.nominal_frequency": 55}, "frequency", "supply.nominal_frequency", None),
        ({"confirmed.peak": 9}, "confirmed", "pressure.disconnect", None),
    ],
)
def test_each_kind_of_fault_names_its_settings(change, reason, setting, other):
    values = s.defaults(0)
    for name, value in change.items():
        values[s.ID_OF[name]] = value * tables.SETTINGS[name].scale
    found = tables.setting_faults(tuple(values))
    assert tables.SettingFault(reason=reason, setting=setting, other=other) in found


def test_a_value_is_written_as_a_person_types_it():
    assert tables.setting_text("pressure.high", 3500) == "35"
    assert tables.setting_text("supply.dangerous_delay", 2) == "0.2"
    assert tables.setting_text("end_expiratory.low", -250) == "-2.5"
    assert tables.setting_text("oxygen.warming_up", 6000) == "600"
    assert tables.setting_text("supply.ups_class", 2) == "VFD"


def test_a_preset_moves_patient_settings_only():
    adult = tuple(s.defaults(0))
    child = tables.preset_values(adult, "child")
    moved = {row.name for row in s.SETTINGS if adult[row.id] != child[row.id]}
    assert "pressure.high" in moved
    assert all(name == "module.preset" or tables.SETTINGS[name].patient for name in moved)
    with pytest.raises(ValueError, match="infant"):
        tables.preset_values(adult, "infant")
