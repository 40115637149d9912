"""The only place that touches disk: events appended, read back, folded into state."""
