"""What people read: words for every number, and the report with pictures."""
