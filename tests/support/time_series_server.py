"""Debian's victoria-metrics on loopback, for tests and benchmarks that want a real server."""

import shutil
import socket
import subprocess
import time
import urllib.error
import urllib.request
from contextlib import contextmanager

PROGRAM = "victoria-metrics"


def is_here():
    """Tell whether the server is installed."""
    return shutil.which(PROGRAM) is not None


@contextmanager
def serving(folder, port=None):
    """Run the server over a folder; yield its address. Points of one millisecond are kept once."""
    assert is_here(), f"{PROGRAM} is missing; install it: apt-get install {PROGRAM}"
    if port is None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
    url = f"http://127.0.0.1:{port}"
    process = subprocess.Popen(
        [PROGRAM, f"-storageDataPath={folder}", f"-httpListenAddr=127.0.0.1:{port}",
         "-retentionPeriod=100y", "-dedup.minScrapeInterval=1ms"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        _wait_until_up(url)
        yield url
    finally:
        process.terminate()
        process.wait(60)


def _wait_until_up(url):
    for _ in range(300):
        try:
            urllib.request.urlopen(f"{url}/health", timeout=2).close()
            return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    raise AssertionError("the server did not start")
