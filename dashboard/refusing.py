"""Say in the reader's language why something was refused."""

from dashboard.texts import Words
from ingest.analysis.refusal import Refused
from ingest.errors import UserError


def refusal(error: UserError, words: Words) -> str:
    """Return a refusal in words; what comes from elsewhere is said as it came."""
    if not isinstance(error, Refused):
        return str(error)
    params = dict(error.params)
    quantity = f"quantity.{str(params.get('quantity', '')).replace(' ', '_')}"
    if words.has(quantity):
        params["quantity"] = words(quantity)
    return words(error.key, **params)
