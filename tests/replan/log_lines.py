"""Lines of a night's log, for tests."""

from __future__ import annotations

from datetime import timedelta


def said(at, event, room="", bucket="", value="", *, late_s=0.0):
    """One line of a log."""
    instant = (at + timedelta(seconds=late_s)).isoformat()
    return f'{instant},{event},{room},{bucket},"{value}",'
