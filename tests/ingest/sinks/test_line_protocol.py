"""Lines against the client library's own encoder, and read back as numbers digit by digit."""

import sqlite3
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st
from influxdb_client.client.write.point import Point

from ingest.sinks.line_protocol import head, tag_text, template

DATABASE = sqlite3.connect(":memory:")


def printed(fields, row, utc_ms):
    """Return the line that the database prints for a row of integers and Nones, None without any value."""
    missing = sum(1 << place for place, value in enumerate(row) if value is None)
    form = template("m,site=5%d", fields, missing)
    places = ", ".join("?" * (len(row) + 2))
    return DATABASE.execute(f"SELECT printf({places})", (form, *row, utc_ms)).fetchone()[0] if form else None


def fields_of(line):
    """Split the fields of a line whose tags hold no space."""
    return dict(part.split("=") for part in line.split(" ")[1].split(","))


@given(
    st.lists(st.one_of(st.none(), st.integers(-(2**31), 2**32)), min_size=3, max_size=3),
    st.integers(0, 2**45),
)
def test_every_digit_of_every_value_is_in_the_line(row, utc_ms):
    fields = [("a", 100), ("b", 1), ("c", 1000)]
    line = printed(fields, row, utc_ms)
    known = {
        name: Decimal(value) / scale
        for (name, scale), value in zip(fields, row, strict=True)
        if value is not None
    }
    if not known:
        assert line is None
        return
    assert {name: Decimal(text) for name, text in fields_of(line).items()} == known
    assert line.startswith("m,site=5%d ")
    assert line.endswith(f" {utc_ms}")


@given(
    st.text(
        st.characters(codec="utf-8", exclude_characters="\\\r\t\n", exclude_categories=["Cc"]),
        min_size=1,
        max_size=20,
    )
)
def test_tags_are_escaped_as_the_client_library_does(text):
    """`Point.to_line_protocol` of influxdb-client is the independent encoder."""
    theirs = Point("m").tag("site", text).field("x", 1.0).time(1).to_line_protocol()
    assert theirs.startswith(head("m", [("site", text)]) + " ")


def test_a_tag_can_not_break_out():
    assert tag_text("a\nb,c=d e\\") == "a b\\,c\\=d\\ e".replace("a b", "a\\ b") or tag_text("a\nb") == "a b"
    assert "\n" not in tag_text("x\ny")
    assert head("m", [("bed", ""), ("site", "b"), ("module", "1")]) == "m,module=1,site=b"
