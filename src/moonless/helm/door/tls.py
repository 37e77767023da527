"""The skipper's own certificate: with it a tablet's browser keeps the page and stays awake.

None is made here: one that no device trusts teaches people to press warnings away.
"""

from __future__ import annotations

import ssl
from pathlib import Path

from moonless.errors import InputError


def read_certificate(chain: Path, key: Path | None) -> ssl.SSLContext:
    """Return a server's context of a PEM file with the certificate (and those above it) and one with its key.

    ``key`` None: the first file holds the key too.

    Raises InputError in one plain line: not there, not PEM, a key that does not fit, a key with a password.
    """
    for path in (chain, *([] if key is None else [key])):
        try:
            path.open("rb").close()
        except OSError as problem:
            raise InputError(f"{path}: cannot be read: {problem.strerror}") from problem

    def no_password() -> str:
        # Without this the program would stand and wait for somebody to type.
        raise InputError(f"{key or chain}: the key has a password; give one without, readable by you alone")

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.set_alpn_protocols(["http/1.1"])
    try:
        context.load_cert_chain(chain, key, password=no_password)
    except ssl.SSLError as problem:
        what = problem.reason or "no certificate with its key in PEM form"
        raise InputError(f"{chain}: cannot be used as a certificate: {what.replace('_', ' ').lower()}") from problem
    return context
