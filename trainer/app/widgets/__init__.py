"""Widgets: one a file, each drawing from a plain state object."""
