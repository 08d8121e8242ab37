"""The serial port, the only user of the serial library: any URL that pyserial opens."""

import errno
import os
from pathlib import Path
from urllib.parse import urlsplit

import serial

from ingest.addresses import is_loopback
from ingest.errors import UserError

BAUD = 230_400
READ_MAX = 65_536


class PortGone(Exception):
    """The port vanished while it was in use; the text says how."""


def check_url(url: str, key: bytes | None) -> str:
    """Return the URL as pyserial wants it; raise UserError for one that nobody may or can open.

    Beyond loopback a TCP link needs a shared key, since anybody on the net could send commands.
    """
    if url.startswith("tcp://"):
        url = "socket://" + url[len("tcp://") :]
    parts = urlsplit(url)
    if parts.scheme not in ("socket", "rfc2217"):
        return url
    try:
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if not host or port is None:
        raise UserError(f"{url} has no host or port; write socket://127.0.0.1:7000.")
    if key is None and not is_loopback(host):
        raise UserError(
            f"{url} leaves this machine, and anybody there could command the module; "
            "give both ends a shared key (--key FILE), or use a port on 127.0.0.1."
        )
    return url


class Port:
    """An open port that never blocks."""

    def __init__(self, url: str) -> None:
        """Open the port; raise UserError with one sentence when it can't be."""
        self.url = url
        try:
            self._serial = serial.serial_for_url(
                url, baudrate=BAUD, timeout=0, write_timeout=0, do_not_open=True
            )
            if "://" not in url:
                self._serial.exclusive = True
            self._serial.open()
        except (serial.SerialException, OSError, ValueError) as error:
            raise UserError(_explain(url, error)) from error
        self._rest = bytearray()
        try:
            self._fileno: int | None = int(self._serial.fileno())
            os.set_blocking(self._fileno, False)
        except (AttributeError, OSError, ValueError):
            self._fileno = None

    def fileno(self) -> int | None:
        """Return what `select` can wait for, None where the URL's handler has none."""
        return self._fileno

    def read(self) -> bytes:
        """Return what has arrived, at most 64 kB, empty when nothing has; raise PortGone.

        A port with a file number is read only when `select` says so: nothing there means that it is gone.
        """
        try:
            # The serial library's own reading can't go beyond 1024 open files.
            if self._fileno is not None:
                return self._read_file(self._fileno)
            return bytes(self._serial.read(READ_MAX))
        except BlockingIOError:
            return b""
        except (serial.SerialException, OSError) as error:
            raise PortGone(_short(error)) from error

    @staticmethod
    def _read_file(fileno: int) -> bytes:
        data = os.read(fileno, READ_MAX)
        if not data:
            raise PortGone("the other end has closed")
        return data

    @property
    def is_behind(self) -> bool:
        """Tell whether the port has not taken everything yet."""
        return bool(self._rest)

    def write(self, data: bytes) -> None:
        """Write as much as the port takes, keep the rest for the next call; raise PortGone."""
        self._rest += data
        if not self._rest:
            return
        try:
            # Nor does the library's writing ever come back from a port that takes nothing.
            if self._fileno is None:
                taken = self._serial.write(bytes(self._rest)) or 0
            else:
                taken = os.write(self._fileno, self._rest)
        except (serial.SerialTimeoutException, BlockingIOError):
            taken = 0
        except (serial.SerialException, OSError) as error:
            raise PortGone(_short(error)) from error
        del self._rest[:taken]
        # A peer that never reads must not make this grow: what it missed is asked for or said again.
        if len(self._rest) > READ_MAX:
            self._rest.clear()

    def close(self) -> None:
        """Close the port, gone or not."""
        try:
            self._serial.close()
        except (serial.SerialException, OSError):
            return


def _explain(url: str, error: Exception) -> str:
    number = getattr(error, "errno", None)
    text = str(error)
    if number == errno.EACCES or "Permission denied" in text:
        return (
            f"{url} may not be opened by this user; join the port's group "
            "(`sudo adduser $USER dialout`) and log in again."
        )
    if number == errno.EMFILE:
        return f"{url} is one too many for this process's open files; raise the limit (`ulimit -n`)."
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO) or "No such file" in text:
        return f"{url} doesn't exist; plug the module in and see `ls /dev/ttyACM* /dev/ttyUSB*` for its name."
    if "exclusively lock" in text or number == errno.EBUSY:
        return f"{url} is in use by another program; close that one first."
    if number == errno.ECONNREFUSED or "refused" in text:
        return f"Nobody answers on {url}; start the board first, or check the port number."
    if isinstance(error, ValueError) or "invalid URL" in text:
        return f"{url} is no port this program knows; write /dev/ttyACM0 or socket://127.0.0.1:7000."
    if Path(url).exists() and not Path(url).is_char_device():
        return f"{url} is not a serial port; name one such as /dev/ttyACM0."
    return f"{url} can't be opened ({_short(error)})."


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__
