"""Write tests/vectors/frames.json: golden frames whose bytes come from independent libraries.

The stuffing is done by PyPI `cobs`, the check sum by the standard library's `binascii.crc_hqx`, the layout
by `struct` from numbers spelled out here, so no byte depends on the code under test.
Run: python tests/vectors/make_frames.py
"""

import binascii
import json
import pathlib
import struct

from cobs import cobs

CASES = (
    # name, message id, seq, tick, struct layout, wire values, tail layout letter, tail
    ("hello", 0x01, 0, 5100, "<HIIIIIBBIIIIHHB",
     (1, 0x01020304, 0xA0B0C0D0, 77, 5, 6, 1, 1, 4242, 1, 1, 1767225600, 250, 230, 50),
     "B", list(b"nightkeel")),
    ("trend", 0x10, 1, 1000, "<HHHHHHHHhhhHHHBBBBHHBHHHH",
     (23011, 22990, 23050, 22987, 22901, 23002, 49980, 50001, 812, -3, 2105, 9312, 5003, 840, 1, 0, 1, 0,
      0, 544, 0, 65535, 65535, 65535, 65535), None, None),
    ("pressure_wave", 0x11, 2, 1000, "<", (), "h", [0, 1, -1, 32767, -32767, -32768, 256, 0]),
    ("breath", 0x13, 3, 2500, "<BhhhhhHHHB", (0, 2002, 1502, 500, 751, 480, 1000, 3000, 1500, 0), None, None),
    ("supply_event", 0x14, 4, 61000, "<HBBBIIHB", (9, 0, 0, 1, 60010, 190, 16100, 0), None, None),
    ("capture_part", 0x15, 5, 61000, "<HHBBBBIHHh", (3, 9, 0, 1, 0, 14, 60000, 250, 16384, -7), "h",
     list(range(-120, 120))),
    ("alarm", 0x17, 0xFFFFFFFE, 0xFFFFFFFF, "<BBBBiiB", (12, 1, 2, 0, -2147483648, 700, 255), None, None),
    ("inputs", 0x1B, 6, 2000, "<BB", (10, 0), "B", [0] * 10),
    ("lost", 0x1D, 7, 3000, "<IIIIII", (10, 20, 11, 1 << 17, 1000, 2900), None, None),
    ("raw", 0x1F, 9, 11000, "<B", (10,), "h", [-7, -4808, 4816, 32760, 32752, 32760, -32768, -32768, -32768]),
    ("calibration", 0x20, 10, 1000, "<BBHhHBHH", (2, 1, 16361, 9, 20781, 3, 850, 140), "B",
     list(b"gauge 7, 2026")),
    ("ack", 0x41, 0, 0, "<II", (77, 7), None, None),
    ("full_block", 0x1B, 8, 0x01010101, "<BB", (10, 1), "B", [(7 * i) % 255 + 1 for i in range(700)]),
)


def build(case):
    """Return the bytes of one golden frame."""
    _, message_id, seq, tick, layout, values, letter, tail = case
    body = struct.pack("<BII", message_id, seq, tick) + struct.pack(layout, *values)
    if letter:
        body += struct.pack(f"<{len(tail)}{letter}", *tail)
    body += struct.pack("<H", binascii.crc_hqx(body, 0xFFFF))
    return cobs.encode(body) + b"\0"


def main():
    """Write the file beside this script."""
    rows = [{"name": case[0], "message": case[1], "seq": case[2], "tick": case[3], "values": list(case[5]),
             "tail": case[7], "frame": build(case).hex()} for case in CASES]
    pathlib.Path(__file__).with_name("frames.json").write_text(json.dumps(rows, indent=1) + "\n")


if __name__ == "__main__":
    main()
