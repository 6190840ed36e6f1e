"""Requests to the listener for devices and calibration, with their answers as text."""

from __future__ import annotations

from concurrent.futures import Future
from pathlib import Path

from trainer.app.session import ListenerLike
from trainer.core import TrainerError
from trainer.practice import Calibrate
from trainer.report.calibration_report import calibration_text
from trainer.sound import Device, MicrophoneSpec

DEVICES_TIMEOUT_S = 20.0
"""Maximum time to wait for the list of devices, in seconds."""
CALIBRATION_TIMEOUT_S = 60.0
"""Maximum time to wait for a calibration, in seconds."""


def devices_or_message(answer: Future[tuple[Device, ...]]) -> tuple[Device, ...] | str:
    """Wait for a list of devices; return it, or a sentence that says why there is none."""
    try:
        return answer.result(DEVICES_TIMEOUT_S)
    except TimeoutError:
        return "the sound devices cannot be listed: the sound system does not answer"
    except TrainerError as error:
        return str(error)


def calibration_message(listener: ListenerLike, spec: MicrophoneSpec, journal: Path | None) -> str:
    """Measure the round trip of a click and store it; return a sentence or two about the result.

    Blocks for about ten seconds, while twelve clicks sound.
    """
    try:
        answer = listener.request(Calibrate(spec, journal)).result(CALIBRATION_TIMEOUT_S)
    except TimeoutError:
        return "× the round trip cannot be measured: the sound system does not answer"
    except TrainerError as error:
        return f"× {error}"
    return f"✓ {' '.join(calibration_text(answer.calibration, answer.round_trip).split())}"
