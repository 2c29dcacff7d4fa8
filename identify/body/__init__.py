"""The body's outline without hardware, to a fraction of a pixel."""

from __future__ import annotations

from identify.body.trace import trace

__all__ = ["trace"]
