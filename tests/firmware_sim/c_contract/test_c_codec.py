"""The generated C, compiled with every warning an error, against golden frames and against the reference."""

import json
import random
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner
from cobs import cobs

from firmware_sim import c_contract
from firmware_sim.cli.contract import contract
from firmware_sim.contract import alarms, digest, frames, messages

HERE = Path(__file__).parent
# Bytes made with PyPI cobs and binascii.crc_hqx (tests/vectors/make_frames.py).
GOLDEN = json.loads((HERE.parents[1] / "vectors" / "frames.json").read_text())
by_name = pytest.mark.parametrize("row", GOLDEN, ids=[row["name"] for row in GOLDEN])
FLAGS = ["-std=c99", "-pedantic", "-Wall", "-Wextra", "-Werror", "-fsanitize=address,undefined", "-O1"]
OK, STUFFING, SHORT, CRC, UNKNOWN, LENGTH = 0, 2, 3, 4, 6, 7


class Bench:
    """The compiled harness behind two pipes; `told` is its first line."""

    def __init__(self, path):
        self.child = subprocess.Popen([path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.told = self.child.stdout.readline().split()

    def ask(self, line):
        """Return the lines of the answer."""
        self.child.stdin.write(line + "\n")
        self.child.stdin.flush()
        lines = []
        while True:
            text = self.child.stdout.readline()
            assert text, f"the bench died with status {self.child.wait()}"
            if text == "end\n":
                return lines
            lines.append(text.strip())

    def decode(self, data):
        """Return a line a frame or refusal: the result, then what the frame holds."""
        return self.ask("D " + data.hex())

    def encode(self, message, seq, tick, values, tail):
        """Return the frame; empty when it is refused."""
        words = [message, seq, tick, *values, "|", *(tail or ())]
        return bytes.fromhex("".join(self.ask("E " + " ".join(map(str, words))).pop()))

    def close(self):
        """End it; a sanitizer's complaint would be its status."""
        self.child.communicate(timeout=10)
        assert self.child.returncode == 0


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("c")
    done = CliRunner().invoke(contract, ["--c", str(folder)])
    assert done.exit_code == 0, done.output
    compiler = shutil.which("gcc")
    assert compiler, "gcc is missing"
    sources = [*sorted(folder.glob("*.c")), HERE / "harness.c"]
    command = [compiler, *FLAGS, f"-I{folder}", *map(str, sources), "-o", str(folder / "harness")]
    built = subprocess.run(command, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stderr
    made = Bench(folder / "harness")
    yield made
    made.close()


def line_of(message, seq, tick, values, tail):
    return " ".join(map(str, (OK, message, seq, tick, *values, "|", *(tail or ()))))


def test_the_header_carries_this_contract(bench):
    low, high = digest.digest()
    assert bench.told == [str(low), str(high), alarms.ROWS[0].name]


@by_name
def test_golden_frames_are_written_to_the_byte(bench, row):
    frame = bench.encode(row["message"], row["seq"], row["tick"], row["values"], row["tail"])
    assert frame.hex() == row["frame"]


@by_name
def test_golden_frames_are_read_after_noise_and_one_after_another(bench, row):
    wanted = line_of(row["message"], row["seq"], row["tick"], row["values"], row["tail"])
    data = bytes.fromhex(row["frame"])
    assert bench.decode(data) == [wanted]
    noise, again, other = bench.decode(b"\x05\x07\x00" + data + data)
    assert noise == str(STUFFING)
    assert again == other == wanted


@by_name
def test_a_flipped_bit_is_refused(bench, row):
    data = bytearray.fromhex(row["frame"])
    for at in range(len(data) - 1):
        broken = data[:]
        broken[at] ^= 1 << at % 8
        for line in bench.decode(bytes(broken)):
            assert int(line) in (STUFFING, SHORT, CRC), (at, line)


def random_message(chance):
    """Return a message with values from the ends of their fields and between."""
    low = {"B": 0, "H": 0, "I": 0, "h": -32768, "i": -(1 << 31)}
    high = {"B": 255, "H": 65535, "I": (1 << 32) - 1, "h": 32767, "i": (1 << 31) - 1}
    number, _, _, _, fields, tail = chance.choice(messages.MESSAGES)

    def draw(code):
        return chance.choice((low[code], high[code], chance.randint(low[code], high[code])))

    size = messages.LAYOUTS[number][2]
    width = {"B": 1, "H": 2, "h": 2, "i": 4}.get(tail[1][0] if tail else "B")
    count = chance.randint(0, (1024 - size) // width) if tail else 0
    rest = [draw(tail[1][0]) for _ in range(count)] if tail else []
    return number, draw("I"), draw("I"), [draw(field[1][0]) for field in fields], rest


def test_random_messages_are_the_firmwares_own_bytes(bench):
    """As the Python side writes them, and as PyPI cobs opens them."""
    chance = random.Random(7)
    for _ in range(400):
        number, seq, tick, values, rest = random_message(chance)
        tail = bytes(rest) if (messages.LAYOUTS[number][4] or "B") == "B" else rest
        wanted = frames.build(number, seq, tick, messages.encode(number, values, tail))
        assert bench.encode(number, seq, tick, values, rest) == wanted
        assert cobs.decode(wanted[:-1])[0] == number
        assert bench.decode(wanted) == [line_of(number, seq, tick, values, rest)]


def test_outside_bytes_are_refused_and_break_nothing(bench):
    """The sanitizers end the bench at the first stray access."""
    chance = random.Random(8)
    for _ in range(300):
        bench.decode(chance.randbytes(chance.randint(1, 2500)))
    bench.decode(b"\x01" * 5000 + b"\0")
    bench.decode(b"\0")
    cut = bytes([0x13]) + bytes(8) + b"\x01\x02"
    for body, result in ((cut, LENGTH), (bytes([0x3F]) + bytes(8), UNKNOWN), (b"\x13", SHORT)):
        whole = body + frames.crc16(body).to_bytes(2, "little")
        assert bench.decode(cobs.encode(whole) + b"\0") == [str(result)]


def test_what_does_not_fit_is_not_written(bench):
    assert bench.encode(0x41, 0, 0, [77, 1 << 32], []) == b""
    assert bench.encode(0x41, 0, 0, [77, -1], []) == b""
    assert bench.encode(0x11, 0, 0, [], [40_000]) == b""
    assert bench.encode(0x11, 0, 0, [], [0] * 513) == b""
    assert len(bench.encode(0x11, 0, 0, [], [0] * 512)) == 9 + 1024 + 2 + 2
    assert bench.encode(0x3F, 0, 0, [], []) == b""


def test_every_row_of_the_tables_has_a_number_in_the_header():
    header = c_contract.files()[c_contract.HEADER]
    numbers = {name: int(value) for name, value in re.findall(r"(NK_\w+) = (\d+)", header)}
    assert len(numbers) == len(re.findall(r"^ +NK_\w+ = ", header, re.MULTILINE)), "a name stands twice"
    for row in alarms.ROWS:
        assert numbers[f"NK_ALARM_ROW_{row.name.upper()}"] == row.id
    for number, name, *_ in messages.MESSAGES:
        assert numbers[f"NK_MESSAGE_{name.upper()}"] == number


def test_the_tables_are_shown_and_a_file_is_no_folder(tmp_path):
    shown = CliRunner().invoke(contract, [])
    low, high = digest.digest()
    assert f"{high:08x}{low:08x}" in shown.output
    assert "pressure_wave" in shown.output
    (tmp_path / "x").write_text("")
    refused = CliRunner().invoke(contract, ["--c", str(tmp_path / "x")])
    assert refused.exit_code != 0 and "name a folder" in str(refused.exception)
