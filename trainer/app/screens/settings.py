"""Settings: all of them, where each comes from, and changing them in their file."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Input, OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.device_list import calibrate
from trainer.app.screens.guide import GuideScreen
from trainer.app.screens.list_keys import LIST_BINDINGS, move_cursor
from trainer.app.session import ListenerLike, Session
from trainer.app.theme import CSS_PENS, effective_theme
from trainer.app.widgets.settings_list import (
    FROM_DEFAULT,
    FROM_FILE,
    FROM_OPTION,
    NOT_SET,
    THEME_KEY,
    SettingLine,
    apply_setting,
    effect_text,
    next_choice,
    setting_lines,
    setting_value,
    short_path,
    value_problem,
)
from trainer.core import TrainerError
from trainer.practice import Plan
from trainer.report.formatting import quantity_text
from trainer.settings import ResolvedSettings, resolve_settings
from trainer.settings.tables import SETTING_TABLES, SettingKey
from trainer.settings.writer import set_setting, unset_setting
from trainer.sound import MicrophoneSpec

NAME_CELLS, VALUE_CELLS = 12, 33
LATENCY_HINT = (
    "Twelve clicks, for ten seconds, at a moderate level: hold a headphone to the microphone, off "
    "your ears, and keep still."
)
WIDE_COLUMNS = 110
EXTRA_VALUE_CELLS = 30
"""More cells of a value from `WIDE` columns on."""


def setting_content(line: SettingLine, width: int, chosen: bool = False) -> Content:
    """A setting in a line: its name, what it is, and where that comes from."""
    quiet = CSS_PENS["quiet"].color
    room = VALUE_CELLS + (EXTRA_VALUE_CELLS if width >= WIDE_COLUMNS else 0)
    value = line.value or NOT_SET
    value = value if len(value) <= room else f"{value[: room - 1]}…"
    usual = line.origin in (FROM_DEFAULT, FROM_FILE, FROM_OPTION)
    origin = line.origin if usual else f"variable {line.origin}"
    return Content.assemble(
        ("▶ ", CSS_PENS["now"].color) if chosen else "  ",
        (f"{line.key[1]:<{NAME_CELLS}} ", "bold"),
        (f"{value:<{room}} ", "" if line.value else quiet),
        (origin, quiet if origin == FROM_DEFAULT else ""),
    )


class SettingsScreen(Screen[Plan | None]):
    """The settings. Gives the plan as it is with those that were changed, if any were.

    The file is read and written in a thread of its own, and keeps its comments.

    Args:
        plan: what is in hand; what it says otherwise than the settings came from an option.
        session: through whose listener a microphone is heard; None for none.
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
        #said { height: 2; }
        &.-editing #value { display: block; }
    }
    """
    ABOUT: ClassVar[str] = "All settings, where each comes from, and changing them."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "escape,comma",
            "leave",
            "back",
            key_display="esc",
            tooltip="back; while a value is typed, leave it as it was",
        ),
        *LIST_BINDINGS,
        Binding("enter", "edit", "change", tooltip="type another value"),
        Binding(
            "space", "next_choice", "next choice", tooltip="the next choice, where there are a few"
        ),
        Binding("m", "microphone", "microphone", tooltip="choose a microphone, and see its level"),
        Binding("l", "latency", "latency", tooltip="measure how late a click comes back"),
        Binding(
            "u,delete",
            "unset",
            "as usual",
            key_display="u",
            tooltip="take it out of the file, so that it is as usual",
        ),
    ]

    def __init__(self, plan: Plan, session: Session | None = None) -> None:
        super().__init__()
        self._plan = plan
        self._session = session
        self._clicking = False
        self._changed = False
        self._writing = False
        self._found: ResolvedSettings | None = None
        self._lines: tuple[SettingLine, ...] = ()
        self._chosen = 0
        self._list = OptionList(id="settings")
        self._list.can_focus = False  # the keys are the screen's, but while a value is typed
        self._value = Input(id="value", compact=True, disabled=True)
        self._value.cursor_blink = False  # it would wake an idle screen twice a second
        self._about = Static(id="about")
        self._where = Static(id="where")
        self._said = Static(id="said")

    def compose(self) -> ComposeResult:
        """The list, what the chosen setting is, and where a new value is typed."""
        yield Static("Settings", id="file", classes="title")
        yield Static(id="problems")
        yield self._list
        with Vertical(id="setting"):
            yield self._about
            yield self._where
            yield self._value
            yield self._said
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Read the settings."""
        self._about.update("Reading the settings …")
        self._read()

    @work(thread=True)
    def _read(self) -> None:
        worker = get_current_worker()
        found = resolve_settings()
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show, found)

    def _change(self, line: SettingLine, text: str | None) -> None:
        """Change the file, one change after another; None takes a setting out of it."""
        if not self._writing:
            self._writing = True
            self._write(line, text)

    @work(thread=True)
    def _write(self, line: SettingLine, text: str | None) -> None:
        worker = get_current_worker()
        assert self._found is not None
        file = self._found.file
        try:
            if text is None:
                was_set = unset_setting(file, line.key)
                said = f"{line.name} is {'no longer' if was_set else 'not'} set in the file."
            else:
                set_setting(file, line.key, text)
                said = f"✓ {line.name} is set to {text}."
            found = resolve_settings(file)
        except TrainerError as error:
            if not worker.is_cancelled:
                self.app.call_from_thread(self._not_written, str(error))
            return
        if not worker.is_cancelled:
            self.app.call_from_thread(self._written, found, line.key, said)

    def _not_written(self, why: str) -> None:
        self._writing = False
        self._said.update(Content(f"× {why}"))

    def _written(self, found: ResolvedSettings, key: SettingKey, said: str) -> None:
        """Let what was changed hold, as far as it can, and say from when on."""
        self._writing = False
        plan = apply_setting(self._plan, key, setting_value(found.settings, key))
        self._changed |= plan != self._plan
        self._plan = plan
        if key == THEME_KEY:
            self.app.theme = effective_theme(found.settings.screen.theme)
        self._show(found)
        origin = found.origins.get(key, FROM_DEFAULT)
        variable = origin not in (FROM_DEFAULT, FROM_FILE)
        after = (
            f"But {origin} is set, and goes before it."
            if variable
            else effect_text(key, self._plan)
        )
        self._said.update(Content(f"{said} {after}"))

    def _show(self, found: ResolvedSettings) -> None:
        """Show what was read."""
        self._found = found
        self._lines = setting_lines(found, self._plan)
        there = "" if found.file.exists() else " (made with the first change)"
        room = self.size.width - len(f"  Settings: {there}")
        name = short_path(found.file, room)
        self.query_one("#file", Static).update(Content(f"Settings: {name}{there}"))
        problems = ""
        if found.problems:
            first = found.problems[0].splitlines()[0]
            count = quantity_text(len(found.problems), "thing")
            problems = f"× {count} taken as usual, because the file is wrong there: {first}"
        self.query_one("#problems", Static).update(Content(problems))
        self.query_one("#problems").display = bool(problems)
        self._list_settings()

    def _list_settings(self) -> None:
        """List all, and point at the one that was pointed at."""
        options: list[Option] = []
        table = ""
        for place, line in enumerate(self._lines):
            if line.key[0] != table:
                table = line.key[0]
                words = f"{table}: {(SETTING_TABLES[table].__doc__ or '').strip()}"
                heading = words if not options else f"\n{words}"
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
        """Show as much of each value as there is room for."""
        self._list_settings()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Point at the setting and say what it is."""
        before, now = self._chosen, int(event.option_id or 0)
        if now == before or self._editing:
            return
        self._chosen = now
        for place in (before, now):
            self._list.replace_option_prompt(str(place), self._content(place))
        self._said.update("")
        self._show_chosen()

    def on_option_list_option_selected(self) -> None:
        """Change the setting that was clicked on."""
        if not self._editing:
            self.action_edit()

    def _show_chosen(self) -> None:
        line = self._lines[self._chosen]
        self._about.update(Content(f"{line.name}: {line.about}"))
        origin = {
            FROM_OPTION: "from an option of the command, which goes before the file",
            FROM_FILE: "from the file",
            FROM_DEFAULT: "as it is unless you say otherwise",
        }.get(
            line.origin, f"from the environment variable {line.origin}, which goes before the file"
        )
        self._where.update(
            Content.styled(f"{line.value or NOT_SET}: {origin}", CSS_PENS["quiet"].color)
        )
        self.refresh_bindings()

    @property
    def _editing(self) -> bool:
        return self.has_class("-editing")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Whether a key does anything now."""
        if action == "next_choice":
            return bool(self._lines) and bool(self._lines[self._chosen].choices)
        return action not in ("choose", "edit", "unset", "microphone", "latency") or (
            bool(self._lines) and not self._editing
        )

    def action_choose(self, where: str) -> None:
        """Another setting."""
        move_cursor(self._list, where)

    def action_edit(self) -> None:
        """Type another value."""
        line = self._lines[self._chosen]
        self.add_class("-editing")
        self._value.disabled = False
        self._value.value = line.value
        self._value.placeholder = "" if line.needed else "empty: not set"
        self._value.cursor_position = len(line.value)
        self._value.focus()
        self._judge(line.value)
        self.refresh_bindings()

    def _end_edit(self) -> None:
        self.remove_class("-editing")
        self._value.disabled = True
        self.set_focus(None)
        self._said.update("")
        self.refresh_bindings()

    def on_input_changed(self, event: Input.Changed) -> None:
        """Say at once whether it may be that."""
        if self._editing:
            self._judge(event.value)

    def _judge(self, text: str) -> None:
        wrong = value_problem(self._lines[self._chosen], text.strip())
        self._said.update(Content(f"× {wrong}" if wrong else "✓ enter keeps it, esc does not"))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Keep the new value, if it may be that."""
        line, text = self._lines[self._chosen], event.value.strip()
        if value_problem(line, text):
            return
        self._end_edit()
        self._change(line, text or None)

    def action_next_choice(self) -> None:
        """The next of a few choices."""
        line = self._lines[self._chosen]
        self._change(line, next_choice(line))

    def action_microphone(self) -> None:
        """Choose a microphone by its level, and come back with it."""
        if self._session is not None:
            self.app.push_screen(GuideScreen(self._session), self._guided)

    def _guided(self, _: None) -> None:
        """What was chosen holds, and stands in the file."""
        assert self._session is not None
        plan = self._session.plan
        self._changed |= plan.source != self._plan.source
        self._plan = replace(self._plan, source=plan.source)
        self._read()

    def action_latency(self) -> None:
        """Measure the round trip from a click to the microphone."""
        source = self._plan.source
        if self._clicking or not isinstance(source, MicrophoneSpec):
            return
        if self._session is not None and self._session.busy:
            self._said.update(Content("× a take is running; go back and stop it first"))
            return
        if self._session is None:
            return
        self._clicking = True
        self._said.update(Content(LATENCY_HINT))
        self._measure(self._session.listener, source)

    @work(thread=True)
    def _measure(self, listener: ListenerLike, spec: MicrophoneSpec) -> None:
        worker = get_current_worker()
        assert self._found is not None
        told = calibrate(listener, spec, self._found.settings.journal.file)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._measured, told)

    def _measured(self, told: str) -> None:
        self._clicking = False
        self._said.update(Content(told))

    def action_unset(self) -> None:
        """Take the setting out of the file, so that it is as usual."""
        self._change(self._lines[self._chosen], None)

    def action_leave(self) -> None:
        """Leave the value as it was, or else go back."""
        if self._editing:
            self._end_edit()
        else:
            self.dismiss(self._plan if self._changed else None)
