"""A recording as answers show it; whoever reads logs uses these."""

from __future__ import annotations

from collections.abc import Iterable

from foreaft.logs.recording import Done, Recording
from foreaft.model.answers import ChannelFace, DoneFace, RunFace


def run_face(one: Recording) -> RunFace:
    """Which session of which log."""
    return RunFace(
        run_id=one.run_id,
        sha256=one.sha256,
        session=one.session,
        sessions=one.sessions,
        samples=one.samples,
        duration_s=one.duration_s,
        start_s=one.start_s,
    )


def channel_faces(recording: Recording) -> list[ChannelFace]:
    """Every channel: used, ignored or asked."""
    return [
        ChannelFace(
            name=one.name,
            original_name=one.original_name,
            original_unit=one.original_unit,
            rate_hz=one.rate_hz,
            samples=len(one.time_s),
            state=one.state,
            note=one.note,
            choices=list(one.choices),
        )
        for one in recording.every()
    ]


def done_faces(done: Iterable[Done]) -> list[DoneFace]:
    """What was done to the copy."""
    return [DoneFace(what=one.what, channel=one.channel, count=one.count) for one in done]
