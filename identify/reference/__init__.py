"""Reference sets: what is known of makers, models, sizes and colourways, in files that people read and edit."""
