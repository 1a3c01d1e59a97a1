"""Ready lines for schedulers: units of a systemd timer and a line for cron."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

from excursions.site.settings import Schedule

NEWS, WRONG, BUSY, ATTENTION, FAILED = 1, 2, 3, 4, 5
QUIET = 0

# status -> what it means, for the documentation, the help and the units
STATUS_WORDS = {
    QUIET: "done, nothing new to tell",
    NEWS: "done, and the digest has something to tell",
    WRONG: "wrong usage, settings or register; nothing was changed",
    BUSY: "another run is at work; nothing was changed",
    ATTENTION: "done, but something needs a hand: a file that cannot be read, a delivery that failed, damage that was mended",
    FAILED: "not finished (disk full, no permission ...); the next run goes on from a sound state",
}


def _command(root: Path) -> list[str]:
    return [sys.executable, "-m", "excursions", "nightly", str(root)]


def _unit_words(words: list[str]) -> str:
    """Words as a unit file takes them: in double quotes, with its own special signs doubled."""
    quoted = (
        w.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$") for w in words
    )
    return " ".join(f'"{word}"' for word in quoted)


def service_unit(root: Path) -> str:
    """A oneshot service that may write in the site's folder alone."""
    place = str(root).replace("%", "%%")
    return f"""\
[Unit]
Description=Nightly scan of the probes of {place}
Documentation=man:systemd.service(5)

[Service]
Type=oneshot
ExecStart={_unit_words(_command(root))}
SuccessExitStatus={NEWS} {BUSY}
UMask=0027
Nice=10
NoNewPrivileges=yes
ProtectSystem=strict
ReadWritePaths={_unit_words([str(root)])}
PrivateTmp=yes
"""


def timer_unit(root: Path, schedule: Schedule) -> str:
    """A daily timer that catches up after the machine was off."""
    place = str(root).replace("%", "%%")
    return f"""\
[Unit]
Description=Every night: {place}

[Timer]
OnCalendar=*-*-* {schedule.at}:00
Persistent=true
RandomizedDelaySec=60

[Install]
WantedBy=timers.target
"""


def cron_line(root: Path, schedule: Schedule) -> str:
    """A line for a crontab; the percent sign is special there."""
    hour, _, minute = schedule.at.partition(":")
    command = shlex.join(_command(root)).replace("%", r"\%")
    log = shlex.quote(str(root / "logs" / "cron.log")).replace("%", r"\%")
    return f"{int(minute or 0)} {int(hour)} * * * {command} >> {log} 2>&1\n"
