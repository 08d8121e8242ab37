"""Two short nights with presses, a reset and a power cut, played once; the compiled kernels."""

import pytest

from firmware_sim.compiled import load
from ingest.analysis.rehearsal.stage import Stage
from ingest.rehearse import gather
from tests.support.nights import play


@pytest.fixture(scope="session")
def kernels():
    return load()


@pytest.fixture(scope="session")
def reset_store(tmp_path_factory):
    """36 min with a reset at 30 min: two boots in one store."""
    store = tmp_path_factory.mktemp("rehearsal") / "reset.db"
    play("reset-mid-case", store, 0.6)
    return store


@pytest.fixture(scope="session")
def pause_store(tmp_path_factory):
    """27 min: the circuit apart from minute 20 on, and 'pause sound' pressed every 119 s."""
    store = tmp_path_factory.mktemp("rehearsal") / "pause.db"
    play("restless-thumb", store, 0.45)
    return store


@pytest.fixture(scope="session")
def reset_stage(reset_store):
    return Stage(gather(reset_store))


@pytest.fixture(scope="session")
def pause_stage(pause_store):
    return Stage(gather(pause_store))
