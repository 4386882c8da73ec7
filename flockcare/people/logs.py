"""Keeping the addresses that are a key by themselves out of the logs."""

import logging
import re

SECRET = re.compile(r"/(join|new-password|calendar|vet|sitter)/[^/\s?&]+")


class HideTokens(logging.Filter):
    """Write ``/join/…`` for the address of an invitation, and likewise for password links."""

    def filter(self, record):
        record.msg = _hidden(record.msg)
        if isinstance(record.args, tuple):
            record.args = tuple(_hidden(value) for value in record.args)
        return True


def _hidden(value):
    return SECRET.sub(r"/\1/…", value) if isinstance(value, str) else value
