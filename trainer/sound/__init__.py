"""Where samples come from and go to: microphone, recording, built-in player, click, tone."""

from trainer.sound.accompaniment import accompaniment_steps
from trainer.sound.block import REFERENCE_LEAD_S, Block, Source, round_to_24_bits
from trainer.sound.click import ClickTrack
from trainer.sound.errors import DeviceError, SoundError, SourceLost
from trainer.sound.sources.factory import open_source
from trainer.sound.sources.microphone import Microphone
from trainer.sound.sources.player import BuiltInPlayer
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
    "REFERENCE_LEAD_S",
    "Block",
    "BuiltInPlayer",
    "ClickTrack",
    "DeviceError",
    "Fault",
    "Microphone",
    "MicrophoneSpec",
    "PlayerSpec",
    "Recording",
    "RecordingSpec",
    "SoundError",
    "Source",
    "SourceLost",
    "SourceSpec",
    "TakeWriter",
    "accompaniment_steps",
    "open_source",
    "parse_fault",
    "round_to_24_bits",
    "tone",
]
