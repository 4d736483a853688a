"""What a plan made on the night tells of the night: learned, poured, and its whole log."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cureplan.assembly.instants import instant
from cureplan.assembly.replan_estimate import NightReadings
from cureplan.assembly.replan_state import NightState
from cureplan.job.night_log import NightEvent
from cureplan.plan import Night, NightLine, NightPoured, NightSlab, Plan, plan_id
from cureplan.say import Say

__all__ = ["log_of", "night_of"]


def night_of(
    old: Plan,
    new: Plan,
    state: NightState,
    readings: NightReadings,
    changes: tuple[Say, ...],
    *,
    left_out: Sequence[str],
) -> Night:
    """What was learned and poured; its log is added apart."""
    fit = readings.fit
    low, high = np.exp(fit.interval(0, confidence=0.9))
    return Night(
        until=instant(state.now_s, new.job.site.zone),
        readings=fit.readings,
        speed=round(fit.speed, 4),
        speed_low=round(float(low), 4),
        speed_high=round(float(high), 4),
        slab=tuple(
            NightSlab(
                room=room,
                warmer_k=round(readings.slab_k(room), 2),
                sd_k=round(readings.slab_sd_k(room), 2),
            )
            for room in readings.rooms
        ),
        left_out=tuple(left_out),
        changes=changes,
        follows=plan_id(old),
        poured=tuple(
            NightPoured(room=name, buckets=floor.done, assumed=floor.assumed)
            for name, floor in state.floors.items()
            if floor.done
        ),
    )


def log_of(old: Plan, events: Sequence[NightEvent]) -> tuple[NightLine, ...]:
    """What earlier plans of the night used, and what this one does; no line twice."""
    lines = list(old.night.log) if old.night is not None else []
    known = {(line.event, line.room, line.bucket, line.value, line.at) for line in lines}
    for event in events:
        if (event.event, event.room, event.bucket, event.value, event.at) in known:
            continue
        lines.append(
            NightLine(
                at=event.at,
                event=event.event,
                room=event.room,
                bucket=event.bucket,
                value=event.value,
                note=event.note,
            )
        )
    return tuple(sorted(lines, key=lambda line: line.at))
