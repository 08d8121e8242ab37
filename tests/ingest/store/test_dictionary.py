"""The dictionary names every table and every column of the newest shape."""

from ingest import docs
from ingest.store.dictionary import tables
from ingest.store.schema import STORED


def test_every_table_that_is_no_message_is_explained():
    assert set(docs.TABLES) == set(tables()) - {row[1] for row in STORED}


def test_units_and_scales_stand_beside_the_columns():
    written = docs.write_store()
    assert "in_rms [V/100]" in written
    assert "unix_s [s]" in written
    assert "slope [1000]" in written
