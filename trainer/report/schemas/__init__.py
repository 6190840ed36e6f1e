"""Shapes of the JSON and CSV that leave the program, one module per topic.

Each shape is a typed dictionary: mypy checks that a converter returns exactly these fields, and
``python -m devtools.schemas`` writes the JSON Schemas and ``docs/formats.md`` from the types and
the docstrings of the fields. At run time they are plain dictionaries and cost nothing.
"""
