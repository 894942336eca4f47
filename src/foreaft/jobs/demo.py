"""The job ``demo``: the main job on an invented car, driver and circuit."""

from __future__ import annotations

from importlib.resources import as_file
from pathlib import Path

from foreaft.files.classes import demo_folder
from foreaft.jobs.common import Cancelled, Progress, never, silent
from foreaft.jobs.plan import plan
from foreaft.jobs.products import hand_over
from foreaft.jobs.requests import PlanRequest
from foreaft.model.answers import Envelope, Plan


def demo(
    folder: Path, progress: Progress = silent, cancelled: Cancelled = never
) -> tuple[list[Envelope[Plan]], list[Path]]:
    """Plan the invented lap, dry and wet, and write every product into a folder."""
    with as_file(demo_folder()) as data:
        request = PlanRequest(
            car=data / "car.toml",
            circuit=data / "brackwater.csv",
            driver=data / "driver.toml",
            conditions=[data / "dry.toml", data / "wet.toml"],
            samples=64,
        )
        plans = plan(request, progress, cancelled)
    return plans, hand_over(plans, folder)
