"""Text, HTML, CSV and JSON of everything that the program shows, writes or prints.

Each topic has a module, and the name of a function ends in what it returns: ``_text`` (lines for a
terminal), ``_line``, ``_markdown``, ``_html``, ``_csv`` or ``_data`` (for JSON). The modules are
the public surface of the room; there is no facade, so that a command loads its own topic alone.

- formatting: scores, quantities, days, line breaks
- heard_report, take_lines, transcript_report: readings, a running take, a transcript
- result_report, batch_report, student_report, class_report: marks
- advice, losses: what to work on
- drill_report, tab_layout, directions, legend, tab_bars: a drill and its page of tab
- shelf_report, transposition_report, melody_report: drills to choose from
- harp_chart, own_harp_report, measuring_report, reed_watch_report, reed_plot: harps
- daily_set_report, progress_report, progress_plots, journal_report: practice
- sound_report, calibration_report: devices
- student_page, class_page, drill_sheet: HTML pages; rendering and ``templates/`` draw them, and
  step_plots and page_sound compute what they show
- schemas: the shapes of the JSON and CSV, which ``docs/formats.md`` publishes
"""
