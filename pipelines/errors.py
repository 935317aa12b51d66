"""The root of every error whose message is written for the person at the screen."""

from __future__ import annotations


class GoodpullError(Exception):
    """Something a person can put right. The message says what, where, got, allowed, and what to do next."""


class StoreError(GoodpullError):
    """The store cannot be opened, read or written. What was in force before is still in force."""
