"""baitprint: identifies unmarked vintage fishing baits from photographs, and shows the evidence."""

__version__ = "0.1.0"
