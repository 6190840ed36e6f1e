"""Where samples come from and go to: sources, devices, clicks, tones, saved takes."""

from trainer.sound.accompaniment import accompaniment_steps, trainer_notes
from trainer.sound.block import REFERENCE_LEAD_S, Block, round_to_24_bits
from trainer.sound.click import ClickTrack
from trainer.sound.devices import Device, find_devices
from trainer.sound.errors import DeviceError, SoundError, SourceGapError, SourceLost
from trainer.sound.loudspeaker_echo import Echo
from trainer.sound.microphone_check import MicrophoneCheck, check_microphone
from trainer.sound.passage import (
    PASSAGE_LIMITS,
    Passage,
    play_passage,
    render_passage,
    validate_passage,
)
from trainer.sound.performer.fault import Fault, parse_fault
from trainer.sound.performer.voice import VoiceKind
from trainer.sound.round_trip import (
    DevicePair,
    RoundTrip,
    device_pair,
    measure_round_trip,
)
from trainer.sound.sources.factory import open_source
from trainer.sound.sources.microphone import Microphone, MicrophoneSpec
from trainer.sound.sources.player import BuiltInPlayer, PlayerSpec
from trainer.sound.sources.recording import Recording, RecordingSpec
from trainer.sound.sources.replay import Replay
from trainer.sound.sources.source import DrillSetup, LoopStart, Source, SourceSpec
from trainer.sound.take_writer import TakeWriter, finish_cut_off
from trainer.sound.tone import tone

__all__ = [
    "PASSAGE_LIMITS",
    "REFERENCE_LEAD_S",
    "Block",
    "BuiltInPlayer",
    "ClickTrack",
    "Device",
    "DeviceError",
    "DevicePair",
    "DrillSetup",
    "Echo",
    "Fault",
    "LoopStart",
    "Microphone",
    "MicrophoneCheck",
    "MicrophoneSpec",
    "Passage",
    "PlayerSpec",
    "Recording",
    "RecordingSpec",
    "Replay",
    "RoundTrip",
    "SoundError",
    "Source",
    "SourceGapError",
    "SourceLost",
    "SourceSpec",
    "TakeWriter",
    "VoiceKind",
    "accompaniment_steps",
    "check_microphone",
    "device_pair",
    "find_devices",
    "finish_cut_off",
    "measure_round_trip",
    "open_source",
    "parse_fault",
    "play_passage",
    "render_passage",
    "round_to_24_bits",
    "tone",
    "trainer_notes",
    "validate_passage",
]
