"""Lines against the client library's own encoder, and read back as numbers digit by digit."""

import random
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st
from influxdb_client.client.write.point import Point

from ingest.sinks.line_protocol import LineEncoder, head, tag_text


def fields_of(line):
    """Split the fields of a line whose tags hold no space."""
    return dict(part.split("=") for part in line.split(" ")[1].split(","))


@given(
    st.lists(st.one_of(st.none(), st.integers(-(2**31), 2**32)), min_size=3, max_size=3),
    st.integers(0, 2**45),
)
def test_every_digit_of_every_value_is_in_the_line(row, utc_ms):
    encoder = LineEncoder([("a", 100), ("b", 1), ("c", 16384 and 1000)])
    line = encoder.line("m,module=1", tuple(row), utc_ms)
    known = {
        name: Decimal(value) / scale
        for (name, scale), value in zip([("a", 100), ("b", 1), ("c", 1000)], row, strict=True)
        if value is not None
    }
    if not known:
        assert line == ""
        return
    assert {name: Decimal(text) for name, text in fields_of(line).items()} == known
    assert line.endswith(f" {utc_ms}")


def test_rows_with_changing_holes_never_mix_up_their_values():
    luck, encoder = random.Random(1), LineEncoder([(name, 1) for name in "abcdef"])
    for _ in range(2000):
        row = tuple(luck.choice((None, luck.randrange(1000))) for _ in "abcdef")
        line = encoder.line("m", row, 5)
        expected = {name: value for name, value in zip("abcdef", row, strict=True) if value is not None}
        assert (
            {name: int(Decimal(text)) for name, text in fields_of(line).items()} if line else {}
        ) == expected


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
