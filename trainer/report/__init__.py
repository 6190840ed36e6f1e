"""A harp chart, a reading or a result as text, JSON, CSV."""
