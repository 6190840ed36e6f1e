"""Records of the journal as JSON data: the lines of an exported journal."""

from __future__ import annotations

from trainer.store import (
    Calibration,
    Focus,
    HarpTag,
    OwnHarp,
    Placement,
    SoloRecord,
    StepRecord,
    TakeRecord,
)
from trainer.transfer.schemas import (
    CalibrationLine,
    FocusLine,
    HarpTagData,
    OwnHarpLine,
    PlacementLine,
    SoloRecordData,
    StepRecordData,
    TakeLine,
    TakeSummaryData,
)


def take_summary_data(take: TakeRecord) -> TakeSummaryData:
    """Return a take without its steps and sound as JSON data."""
    return {
        "id": take.id,
        "player": take.player,
        "began": take.began.isoformat(),
        "day": take.day.isoformat(),
        "drill": take.drill,
        "title": take.title,
        "skills": take.skills,
        "harp": harp_tag_data(take.harp),
        "tempo": take.tempo,
        "source": take.source,
        "score": take.score,
        "passed": take.passed,
        "whole": take.whole,
        "seconds": take.seconds,
        "extras": take.extras,
        "first_bar": take.first_bar,
        "last_bar": take.last_bar,
        "tolerance": take.tolerance,
        "solos": tuple(map(solo_record_data, take.solos)),
    }


def harp_tag_data(tag: HarpTag) -> HarpTagData:
    """Return the harp of a take as JSON data."""
    return {
        "key": tag.key,
        "tuning": tag.tuning,
        "a4": tag.a4,
        "temperament": tag.temperament,
        "name": tag.name,
    }


def solo_record_data(solo: SoloRecord) -> SoloRecordData:
    """Return a marked solo as JSON data."""
    return {
        "bar": solo.bar,
        "beats": solo.beats,
        "score": solo.score,
        "criteria": dict(solo.criteria),
        "notes": solo.notes,
        "sentence": solo.sentence,
    }


def step_record_data(step: StepRecord) -> StepRecordData:
    """Return a marked step as JSON data."""
    return {
        "index": step.index,
        "tab": step.tab,
        "kind": step.kind,
        "entry": step.entry,
        "care": step.care,
        "beats": step.beats,
        "score": step.score,
        "parts": dict(step.parts),
        "sentence": step.sentence,
        "heard": step.heard,
        "cents": step.cents,
        "wobble_cents": step.wobble_cents,
        "drift_cents": step.drift_cents,
        "scoop_cents": step.scoop_cents,
        "settle_ms": step.settle_ms,
        "leak_db": step.leak_db,
        "leak_hole": step.leak_hole,
        "late_ms": step.late_ms,
        "hz": step.hz,
    }


def take_line(take: TakeRecord) -> TakeLine:
    """Return a take as a line of an exported journal."""
    summary = take_summary_data(take)
    return {
        "kind": "take",
        "id": summary["id"],
        "player": summary["player"],
        "began": summary["began"],
        "day": summary["day"],
        "drill": summary["drill"],
        "title": summary["title"],
        "skills": summary["skills"],
        "harp": summary["harp"],
        "tempo": summary["tempo"],
        "source": summary["source"],
        "score": summary["score"],
        "passed": summary["passed"],
        "whole": summary["whole"],
        "seconds": summary["seconds"],
        "steps": tuple(step_record_data(step) for step in take.steps),
        "extras": summary["extras"],
        "first_bar": summary["first_bar"],
        "last_bar": summary["last_bar"],
        "tolerance": summary["tolerance"],
        "solos": summary["solos"],
    }


def own_harp_line(harp: OwnHarp) -> OwnHarpLine:
    """Return a measured harp as a line of an exported journal."""
    return {
        "kind": "harp",
        "player": harp.player,
        "name": harp.name,
        "tag": harp_tag_data(harp.tag),
        "measured": harp.measured.isoformat(),
        "reeds": tuple(
            {"tab": reed.tab, "hz": reed.hz, "spread_cents": reed.spread_cents}
            for reed in harp.reeds
        ),
    }


def calibration_line(calibration: Calibration) -> CalibrationLine:
    """Return a measured round trip as a line of an exported journal."""
    return {
        "kind": "calibration",
        "input": calibration.input,
        "output": calibration.output,
        "rate": calibration.rate,
        "latency_ms": calibration.latency_ms,
        "spread_ms": calibration.spread_ms,
        "measured": calibration.measured.isoformat(),
        "by_hand": calibration.by_hand,
    }


def focus_line(player: str, focus: Focus) -> FocusLine:
    """Return a player's focus as a line of an exported journal."""
    return {
        "kind": "focus",
        "player": player,
        "name": focus.name,
        "since": focus.since.isoformat(),
        "until": focus.until.isoformat(),
    }


def placement_line(player: str, placement: Placement) -> PlacementLine:
    """Return a player's level in a skill as a line of an exported journal."""
    return {
        "kind": "placement",
        "player": player,
        "skill": placement.skill,
        "level": placement.level,
        "day": placement.day.isoformat(),
        "by_hand": placement.by_hand,
    }
