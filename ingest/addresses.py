"""Tell whether an address stays on this machine."""

import ipaddress


def is_loopback(host: str) -> bool:
    """Return True for a name or number that can't leave this machine; names other than localhost may."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
