"""Where samples come from and go to: microphone, recording, built-in player, click, tone."""

from trainer.sound.accompaniment import trainer_steps
from trainer.sound.block import OWN_AHEAD_S, Block, Source, on_grid
from trainer.sound.click import ClickTrack
from trainer.sound.errors import DeviceError, SoundError, SourceLost
from trainer.sound.sources.factory import open_source
from trainer.sound.sources.microphone import Microphone
from trainer.sound.sources.player import Player
from trainer.sound.sources.recording import Recording
from trainer.sound.sources.spec import (
    Fault,
    MicrophoneSpec,
    PlayerSpec,
    RecordingSpec,
    SourceSpec,
    parse_fault,
)
from trainer.sound.take_writer import TakeWriter
from trainer.sound.tone import tone

__all__ = [
    "OWN_AHEAD_S",
    "Block",
    "ClickTrack",
    "DeviceError",
    "Fault",
    "Microphone",
    "MicrophoneSpec",
    "Player",
    "PlayerSpec",
    "Recording",
    "RecordingSpec",
    "SoundError",
    "Source",
    "SourceLost",
    "SourceSpec",
    "TakeWriter",
    "on_grid",
    "open_source",
    "parse_fault",
    "tone",
    "trainer_steps",
]
