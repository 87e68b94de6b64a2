"""Random tokens, and the hash that is all we keep of them.

A token has 256 random bits, so one round of SHA-256 is enough; slow hashes are for what people choose.
"""

import hashlib
import secrets


def fresh() -> str:
    """A new token, good in a cookie or an address."""
    return secrets.token_urlsafe(32)


def key_of(token: str) -> str:
    """What is kept of a token, and what it is looked up by."""
    return hashlib.sha256(token.encode()).hexdigest()
