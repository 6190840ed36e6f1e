"""Fixtures of the tests of this room: recordings of an evening class."""

from tests.support.evening_class import folder, student_report  # noqa: F401 - fixtures
