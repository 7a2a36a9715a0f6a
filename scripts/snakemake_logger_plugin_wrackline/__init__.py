"""Snakemake's side of the progress lines: hands its events to `wrackline.progress`."""

from __future__ import annotations

from dataclasses import dataclass, field
from logging import LogRecord
from pathlib import Path

from snakemake_interface_logger_plugins.base import LogHandlerBase
from snakemake_interface_logger_plugins.settings import LogHandlerSettingsBase

from wrackline.planned import PlanRecorder
from wrackline.progress import Progress


@dataclass
class LogHandlerSettings(LogHandlerSettingsBase):
    """What the run tells its log handler; by itself it writes lines to standard error."""

    terminal: int = field(
        default=2,
        metadata={"help": "File descriptor that the lines are written to", "type": int},
    )
    records: str = field(
        default="",
        metadata={"help": "File that a record of each step is appended to", "type": str},
    )
    heading: str = field(
        default="",
        metadata={"help": "Line to print before the first step", "type": str},
    )
    plan: str = field(
        default="",
        metadata={"help": "File that the steps of a dry run are written to", "type": str},
    )


class LogHandler(LogHandlerBase):
    """Write one line a finished step, and a record of it."""

    settings: LogHandlerSettings

    def __post_init__(self) -> None:
        """Set up the lines as the settings ask."""
        settings = self.settings or LogHandlerSettings()
        self._progress: Progress | PlanRecorder
        if settings.plan:
            self._progress = PlanRecorder(Path(settings.plan))
            return
        records = Path(settings.records) if settings.records else None
        self._progress = Progress(settings.terminal, records=records, heading=settings.heading)

    def emit(self, record: LogRecord) -> None:
        """Pass an event on."""
        kind = getattr(record, "event", None)
        if kind is not None:
            self._progress.handle(str(kind), record.__dict__)

    def close(self) -> None:
        """Stop telling of steps that are still at work."""
        self._progress.close()
        super().close()

    @property
    def writes_to_stream(self) -> bool:
        """Lines replace what Snakemake would print."""
        return True

    @property
    def writes_to_file(self) -> bool:
        """No log file of Snakemake's kind is kept."""
        return False

    @property
    def has_filter(self) -> bool:
        """Events are chosen here, so none may be filtered out before."""
        return True

    @property
    def has_formatter(self) -> bool:
        """Lines are formatted here."""
        return True

    @property
    def needs_rulegraph(self) -> bool:
        """The graph of rules isn't shown."""
        return False
