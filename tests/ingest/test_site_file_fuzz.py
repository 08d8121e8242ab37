"""Whatever stands in a settings file, it is taken whole or refused in one sentence."""

import json
from contextlib import suppress

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from firmware_sim.contract import settings as s
from firmware_sim.contract.channels import PRESET_ADULT
from ingest import site_file
from ingest.analysis.setting_text import checked
from ingest.errors import UserError

NAMES = [row.name for row in s.SETTINGS]
LEAVES = st.one_of(
    st.none(), st.booleans(), st.integers(-(2**70), 2**70), st.floats(), st.text(max_size=12),
    st.sampled_from(["35 cmH2O", "nan", "1e999", "-1 %", "9" * 5000, "10 s", "\ud800"]),
)  # fmt: skip
TABLE = st.dictionaries(st.one_of(st.sampled_from(NAMES), st.text(max_size=9)), LEAVES, max_size=4)
CONTENT = st.fixed_dictionaries(
    {"format": st.just(site_file.FORMAT)}, optional={"settings": TABLE, "infant": TABLE, "x": LEAVES}
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("files")


def taken(path, infant=False):
    with suppress(UserError):
        found = site_file.read(path, infant)
        assert all(-(2**31) <= value < 2**31 for value in found.values()), "what the link can't carry"
        whole = s.defaults(PRESET_ADULT)
        for number, value in found.items():
            whole[number] = value
        for row, value in zip(s.SETTINGS, checked(list(whole)), strict=True):
            assert row.low <= value <= row.high, row.name


@given(content=CONTENT, infant=st.booleans())
@example(content={"format": site_file.FORMAT, "settings": {"pressure.high": 0}}, infant=False)
@example(content={"format": site_file.FORMAT, "settings": {"pressure.high": 1 << 40}}, infant=False)
@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_json_is_taken_whole_or_refused(folder, content, infant):
    path = folder / "a.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    taken(path, infant)


@given(held=st.binary(max_size=80), ending=st.sampled_from([".json", ".toml"]))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_bytes_are_refused_in_a_sentence(folder, held, ending):
    path = folder / f"b{ending}"
    path.write_bytes(held)
    with pytest.raises(UserError):
        site_file.read(path)


def test_depth_is_bounded(folder):
    for ending, held in ((".json", "[" * 100_000), (".toml", "a = " + "[" * 50_000)):
        path = folder / f"deep{ending}"
        path.write_text(held)
        with pytest.raises(UserError):
            site_file.read(path)
