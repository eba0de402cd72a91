"""Identity: what stands for a file once its name is left behind."""

import hashlib


def sha256_of(data: bytes) -> str:
    """Return the SHA-256 digest of a file's bytes in hexadecimal (FIPS 180-4).

    The digest is all that leaves the intake room; names of files and folders stay outside, because they
    often hold the name of a person.

    Examples
    --------
    >>> sha256_of(b"abc")[:16]
    'ba7816bf8f01cfea'
    """
    return hashlib.sha256(data).hexdigest()
