"""One photo of many baits: numbered, in a table, as a contact sheet, and as drafts of records."""

from __future__ import annotations

from identify.tray.drafts import Draft, add_drafts, drafts
from identify.tray.page import TrayReport

__all__ = ["Draft", "TrayReport", "add_drafts", "drafts"]
