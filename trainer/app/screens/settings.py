"""Settings: every setting, the origin of its value, and how to change it in the file."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.device_list import calibration_message
from trainer.app.screens.guide import GuideScreen
from trainer.app.screens.list_keys import LIST_BINDINGS, move_cursor
from trainer.app.session import TAKE_RUNS, ListenerLike, Session
from trainer.app.theme import CSS_PENS, effective_theme
from trainer.app.widgets.key_footer import KeyFooter
from trainer.app.widgets.settings_list import (
    FROM_DEFAULT,
    FROM_FILE,
    FROM_OPTION,
    THEME_KEY,
    SettingLine,
    apply_setting,
    changed_first,
    effect_text,
    next_choice,
    setting_lines,
    setting_value,
    short_path,
    value_problem,
)
from trainer.core import TrainerError
from trainer.core.quantities import quantity_text
from trainer.practice import Plan
from trainer.settings import (
    ResolvedSettings,
    SettingKey,
    resolve_settings,
    set_setting,
    unset_setting,
)
from trainer.sound import MicrophoneSpec

NAME_CELLS, VALUE_CELLS = 22, 30
"""Width of a setting's name and value in cells."""
LATENCY_HINT = (
    "Hold an earpiece to the microphone, away from your ears, and keep quiet: twelve clicks play "
    "for ten seconds."
)
WIDE_COLUMNS = 110
"""Columns from which values get `EXTRA_VALUE_CELLS`."""
EXTRA_VALUE_CELLS = 30
"""Additional width of a value in wide windows, in cells."""


def setting_content(line: SettingLine, width: int, chosen: bool = False) -> Content:
    """Return a line of the list: label and value, and where a changed value comes from."""
    quiet = CSS_PENS["quiet"].color
    room = VALUE_CELLS + (EXTRA_VALUE_CELLS if width >= WIDE_COLUMNS else 0)
    value = line.shown if len(line.shown) <= room else f"{line.shown[: room - 1]}…"
    named = line.origin not in (FROM_FILE, FROM_OPTION)
    origin = f"variable {line.origin}" if named else line.origin
    return Content.assemble(
        ("▶ ", CSS_PENS["now"].color) if chosen else "  ",
        (f"{line.label:<{NAME_CELLS}} ", "bold" if line.changed else ""),
        (f"{value:<{room}} ", "bold" if line.changed else quiet),
        (origin if line.changed else "", quiet),
    )


class SettingsScreen(Screen[Plan | None]):
    """All settings as a list.

    Its result is the plan with the changed settings; None if it did not change. A thread reads and
    writes the file, whose comments are kept.

    Args:
        plan: the current plan; where it differs from the settings, a command-line option was given.
        session: its listener opens the microphone; None for none.
    """

    DEFAULT_CSS = """
    SettingsScreen {
        #problems { height: auto; max-height: 4; padding: 0 2; }
        #settings {
            height: 1fr;
            border: none;
            background: $background;
            padding: 0 1;
            scrollbar-size-vertical: 1;
        }
        #settings > .option-list--option-highlighted {
            color: $foreground;
            background: $surface;
            text-style: none;
        }
        #setting { height: 6; padding: 0 2; background: $surface; }
        &.-tall #setting { height: 8; padding: 1 2; }
        #about { height: 2; }
        #where { height: 1; }
        #value { height: 1; padding: 0; border: none; background: $background; display: none; }
        #message { height: 2; }
        &.-editing #value { display: block; }
    }
    """
    ABOUT: ClassVar[str] = "All settings, those you changed first."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "escape,comma",
            "leave",
            "back",
            key_display="esc",
            tooltip="back, or cancel an edit",
        ),
        *LIST_BINDINGS,
        Binding("enter", "edit", "change", tooltip="type a new value"),
        Binding(
            "space", "next_choice", "next choice", tooltip="next value from the list of choices"
        ),
        Binding("m", "microphone", "mic", tooltip="choose a microphone and see its level"),
        Binding("l", "latency", "latency", tooltip="measure the round-trip latency"),
        Binding(
            "u,delete",
            "unset",
            "default",
            key_display="u",
            tooltip="remove it from the file, back to the default",
        ),
    ]

    def __init__(self, plan: Plan, session: Session | None = None) -> None:
        super().__init__()
        self._plan = plan
        self._session = session
        self._clicking = False
        self._changed = False
        self._writing = False
        self._resolved: ResolvedSettings | None = None
        self._lines: tuple[SettingLine, ...] = ()
        self._chosen = 0
        self._list = OptionList(id="settings")
        self._list.can_focus = False  # the screen binds the keys, except while a value is typed
        self._value = Input(id="value", compact=True, disabled=True)
        self._value.cursor_blink = False  # it would wake an idle screen twice a second
        self._about = Static(id="about")
        self._where = Static(id="where")
        self._message = Static(id="message")

    def compose(self) -> ComposeResult:
        """Yield the list, a description of the chosen setting, and the input for a new value."""
        yield Static("Settings", id="file", classes="title")
        yield Static(id="problems")
        yield self._list
        with Vertical(id="setting"):
            yield self._about
            yield self._where
            yield self._value
            yield self._message
        yield KeyFooter()

    def on_mount(self) -> None:
        """Start to read the settings."""
        self._about.update("Reading the settings …")
        self._read()

    @work(thread=True)
    def _read(self) -> None:
        worker = get_current_worker()
        resolved = resolve_settings()
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show, resolved)

    def _change(self, line: SettingLine, text: str | None) -> None:
        """Change the file, unless a change is in progress; None removes the setting."""
        if not self._writing:
            self._writing = True
            self._write(line, text)

    @work(thread=True)
    def _write(self, line: SettingLine, text: str | None) -> None:
        worker = get_current_worker()
        assert self._resolved is not None
        file = self._resolved.file
        try:
            if text is None:
                was_set = unset_setting(file, line.key)
                message = f"{line.name} is {'no longer' if was_set else 'not'} set in the file."
            else:
                set_setting(file, line.key, text)
                message = f"✓ {line.name} is set to {text}."
            resolved = resolve_settings(file)
        except TrainerError as error:
            if not worker.is_cancelled:
                self.app.call_from_thread(self._not_written, str(error))
            return
        if not worker.is_cancelled:
            self.app.call_from_thread(self._written, resolved, line.key, message)

    def _not_written(self, why: str) -> None:
        self._writing = False
        self._message.update(Content(f"× {why}"))

    def _written(self, resolved: ResolvedSettings, key: SettingKey, message: str) -> None:
        """Apply the change as far as possible, and report when it takes effect."""
        self._writing = False
        plan = apply_setting(self._plan, key, setting_value(resolved.settings, key))
        self._changed |= plan != self._plan
        self._plan = plan
        if key == THEME_KEY:
            self.app.theme = effective_theme(resolved.settings.screen.theme)
        self._show(resolved)
        origin = resolved.origins.get(key, FROM_DEFAULT)
        variable = origin not in (FROM_DEFAULT, FROM_FILE)
        after = f"The variable {origin} overrides it." if variable else effect_text(key, self._plan)
        self._message.update(Content(f"{message} {after}"))

    def _show(self, resolved: ResolvedSettings) -> None:
        """Show the settings that were read."""
        self._resolved = resolved
        key = self._lines[self._chosen].key if self._lines else None
        self._lines = changed_first(setting_lines(resolved, self._plan))
        if key is not None:
            self._chosen = next(i for i, line in enumerate(self._lines) if line.key == key)
        note = "" if resolved.file.exists() else " (created by the first change)"
        room = self.size.width - len(f"  Settings: {note}")
        name = short_path(resolved.file, room)
        self.query_one("#file", Static).update(Content(f"Settings: {name}{note}"))
        problems = ""
        if resolved.problems:
            first = resolved.problems[0].splitlines()[0]
            count = quantity_text(len(resolved.problems), "setting")
            problems = f"× {count} at the default, because the file has errors: {first}"
        self.query_one("#problems", Static).update(Content(problems))
        self.query_one("#problems").display = bool(problems)
        self._list_settings()

    def _list_settings(self) -> None:
        """Fill the list, and restore the cursor."""
        options: list[Option] = []
        title = ""
        for place, line in enumerate(self._lines):
            if line.heading != title:
                title = line.heading
                heading = title if not options else f"\n{title}"
                options.append(
                    Option(Content.styled(heading, CSS_PENS["quiet"].color), disabled=True)
                )
            options.append(Option(self._content(place), id=str(place)))
        self._list.clear_options()
        self._list.add_options(options)
        if self._lines:
            self._list.highlighted = self._list.get_option_index(str(self._chosen))
            self.call_after_refresh(self._list.scroll_to_highlight)
            self._show_chosen()

    def _content(self, place: int) -> Content:
        return setting_content(self._lines[place], self.size.width, place == self._chosen)

    def on_resize(self) -> None:
        """Cut the values to the new width."""
        self._list_settings()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Mark the chosen setting and describe it."""
        before, now = self._chosen, int(event.option_id or 0)
        if now == before or self._editing:
            return
        self._chosen = now
        for place in (before, now):
            self._list.replace_option_prompt(str(place), self._content(place))
        self._message.update("")
        self._show_chosen()

    def on_option_list_option_selected(self) -> None:
        """Edit the setting that was clicked."""
        if not self._editing:
            self.action_edit()

    def _show_chosen(self) -> None:
        line = self._lines[self._chosen]
        self._about.update(Content(f"{line.name}: {line.about}"))
        origin = {
            FROM_OPTION: "from a command-line option, which overrides the file",
            FROM_FILE: "from the file",
            FROM_DEFAULT: "default",
        }.get(line.origin, f"from the environment variable {line.origin}, which overrides the file")
        self._where.update(Content.styled(f"{line.shown}: {origin}", CSS_PENS["quiet"].color))
        self.refresh_bindings()

    @property
    def _editing(self) -> bool:
        return self.has_class("-editing")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Disable the keys that have no effect now."""
        if action == "next_choice":
            return bool(self._lines) and bool(self._lines[self._chosen].choices)
        return action not in ("choose", "edit", "unset", "microphone", "latency") or (
            bool(self._lines) and not self._editing
        )

    def action_choose(self, where: str) -> None:
        """Move the cursor."""
        move_cursor(self._list, where)

    def action_edit(self) -> None:
        """Open the input for a new value."""
        line = self._lines[self._chosen]
        self.add_class("-editing")
        self._value.disabled = False
        self._value.value = line.value
        self._value.placeholder = "" if line.needed else "empty: not set"
        self._value.cursor_position = len(line.value)
        self._value.focus()
        self._validate_input(line.value)
        self.refresh_bindings()

    def _end_edit(self) -> None:
        self.remove_class("-editing")
        self._value.disabled = True
        self.set_focus(None)
        self._message.update("")
        self.refresh_bindings()

    def on_input_changed(self, event: Input.Changed) -> None:
        """Validate the typed value."""
        if self._editing:
            self._validate_input(event.value)

    def _validate_input(self, text: str) -> None:
        problem = value_problem(self._lines[self._chosen], text.strip())
        self._message.update(Content(f"× {problem}" if problem else "✓ enter saves, esc cancels"))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Save the new value, if it is valid."""
        line, text = self._lines[self._chosen], event.value.strip()
        if value_problem(line, text):
            return
        self._end_edit()
        self._change(line, text or None)

    def action_next_choice(self) -> None:
        """Save the next of the choices."""
        line = self._lines[self._chosen]
        self._change(line, next_choice(line))

    def action_microphone(self) -> None:
        """Open the guide to choose a microphone."""
        if self._session is not None:
            self.app.push_screen(GuideScreen(self._session), self._guided)

    def _guided(self, _: None) -> None:
        """Take over the plan that the guide has changed."""
        assert self._session is not None
        plan = self._session.plan
        self._changed |= plan.source != self._plan.source
        self._plan = replace(self._plan, source=plan.source)
        self._read()

    def action_latency(self) -> None:
        """Measure the round-trip latency from a click to the microphone."""
        source = self._plan.source
        if self._clicking or not isinstance(source, MicrophoneSpec):
            return
        if self._session is not None and self._session.busy:
            self._message.update(Content(f"× {TAKE_RUNS}"))
            return
        if self._session is None:
            return
        self._clicking = True
        self._message.update(Content(LATENCY_HINT))
        self._measure(self._session.listener, source)

    @work(thread=True)
    def _measure(self, listener: ListenerLike, spec: MicrophoneSpec) -> None:
        worker = get_current_worker()
        assert self._resolved is not None
        message = calibration_message(listener, spec, self._resolved.settings.journal.file)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._measured, message)

    def _measured(self, message: str) -> None:
        self._clicking = False
        self._message.update(Content(message))

    def action_unset(self) -> None:
        """Remove the setting from the file."""
        self._change(self._lines[self._chosen], None)

    def action_leave(self) -> None:
        """Cancel an edit, or else go back."""
        if self._editing:
            self._end_edit()
        else:
            self.dismiss(self._plan if self._changed else None)
