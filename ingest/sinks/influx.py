"""Send lines through `influxdb-client` to any server that takes the v2 write API."""

import os
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException
from urllib3.exceptions import HTTPError

from ingest.addresses import is_loopback
from ingest.errors import UserError
from ingest.sinks.outcomes import Answer

_MILLISECONDS: Any = "ms"


class InfluxSender:
    """Write ready lines, time stamps in ms; every failure comes back as an Answer."""

    def __init__(
        self, url: str, *, org: str, bucket: str, token: str, timeout_s: float = 30.0, gzip: bool = False
    ) -> None:
        self._bucket, self._org, self.gzip = bucket, org, gzip
        self._client = InfluxDBClient(
            url=url, token=token, org=org, timeout=int(timeout_s * 1000), enable_gzip=gzip, retries=False
        )
        self._api = self._client.write_api(write_options=SYNCHRONOUS)

    def __call__(self, body: bytes) -> Answer:
        """Send one body."""
        try:
            self._api.write(bucket=self._bucket, org=self._org, record=body, write_precision=_MILLISECONDS)
        except ApiException as error:
            return Answer(
                status=error.status or None, retry_after_s=_retry_after(error), text=str(error.reason)
            )
        except (HTTPError, OSError) as error:
            return Answer(status=None, text=f"the server doesn't answer ({type(error).__name__})")
        return Answer(status=204)

    def close(self) -> None:
        """Close the connection."""
        self._api.close()
        self._client.close()


def _retry_after(error: Any) -> float | None:
    headers = getattr(error, "headers", None) or {}
    value = headers.get("Retry-After")
    try:
        return None if value is None else float(value)
    except ValueError:
        # A date is allowed too; the usual doubling serves there.
        return None


def open_sender(url: str, org: str, bucket: str, token_file: Path | None) -> InfluxSender:
    """Return a sender for what a person asked; the token comes from a file, or from NIGHTKEEL_TOKEN."""
    if not url.startswith(("http://", "https://")):
        raise UserError(f"{url} is no server address; write http://HOST:PORT.")
    token = os.environ.get("NIGHTKEEL_TOKEN", "")
    if token_file is not None:
        try:
            token = token_file.read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as error:
            raise UserError(f"The token file {token_file} can't be read ({error}).") from error
    # On this machine compressing takes longer than sending; on a net it makes a seventeenth of the bytes.
    away = not is_loopback(urlsplit(url).hostname or "")
    return InfluxSender(url, org=org, bucket=bucket, token=token, gzip=away)
