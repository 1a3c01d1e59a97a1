"""Ready files for schedulers: units of systemd timers, lines for cron, and how to put them in place.

They are made from ``site.toml`` each time ``excursions init`` is run on a site, so what is to be changed is changed there.
"""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

from excursions.site.settings import Schedule

NEWS, WRONG, BUSY, ATTENTION, FAILED = 1, 2, 3, 4, 5
QUIET = 0

HEALTH_AFTER_H = 6  # hours after the run at which it is looked whether there was one


def schedule_files(root: Path, schedule: Schedule) -> dict[str, str]:
    """Names within ``schedule/`` and texts of all of them."""
    return {
        "excursions-nightly.service": service_unit(root),
        "excursions-nightly.timer": timer_unit(root, schedule),
        "excursions-health.service": health_unit(root),
        "excursions-health.timer": health_timer(root, schedule),
        "cron.txt": cron_line(root, schedule) + health_line(root, schedule),
        "README.txt": placing(root),
    }


def placing(root: Path) -> str:
    """How to put them in place, for whoever does it once and leaves."""
    place, units = root / "schedule", "excursions-nightly excursions-health"
    copied = " ".join(
        shlex.quote(str(place / f"{unit}.{kind}")) for unit in units.split() for kind in ("service", "timer")
    )
    status = shlex.join(_command(root, "status"))
    return f"""\
The run of every night, and a look some hours later whether there was one.  Take one of the two ways.

With systemd (as root; write "User=..." into both .service files first if the site belongs to somebody else):
  cp {copied} /etc/systemd/system/
  systemctl daemon-reload
  systemctl enable --now excursions-nightly.timer excursions-health.timer
  systemctl start excursions-nightly.service      # try it now
  journalctl -u excursions-nightly -e             # what it said
  A run that failed or is missing shows in: systemctl --failed

With cron (as the owner of the site): put the lines of cron.txt into what this opens:
  crontab -e
  The second line says nothing while all is well; what it says otherwise cron sends to the owner.

Your monitoring can ask too; exit status 0 is well, 1 is a run missing or cut off:
  {status} --json

Where a machine was off at night, systemd makes up for the run when it is on again; cron does not, but the next run
takes everything that lies in the inbox and says that a run was missed.

To change the time, write it into site.toml ([schedule] at = "HH:MM"), run "excursions init" on the site again, which
writes these files anew, and put them in place again.
"""


def _command(root: Path, name: str = "nightly") -> list[str]:
    return [sys.executable, "-m", "excursions", name, str(root)]


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


def health_unit(root: Path) -> str:
    """A service that fails when a run is missing, so that whatever watches failed units says so."""
    return f"""\
[Unit]
Description=Whether the nightly scan ran: {str(root).replace("%", "%%")}

[Service]
Type=oneshot
ExecStart={_unit_words(_command(root, "status"))}
NoNewPrivileges=yes
ProtectSystem=strict
PrivateTmp=yes
"""


def health_timer(root: Path, schedule: Schedule) -> str:
    """Once between two runs."""
    return f"""\
[Unit]
Description=Whether the nightly scan ran: {str(root).replace("%", "%%")}

[Timer]
OnCalendar=*-*-* {_later(schedule)}:00

[Install]
WantedBy=timers.target
"""


def _later(schedule: Schedule) -> str:
    hour, _, minute = schedule.at.partition(":")
    return f"{(int(hour) + HEALTH_AFTER_H) % 24:02}:{int(minute or 0):02}"


def health_line(root: Path, schedule: Schedule) -> str:
    """A line for a crontab that speaks only when a run is missing."""
    hour, _, minute = _later(schedule).partition(":")
    command = shlex.join(_command(root, "status")).replace("%", r"\%")
    return f'{int(minute)} {int(hour)} * * * told=$({command}) || echo "$told"\n'


def cron_line(root: Path, schedule: Schedule) -> str:
    """A line for a crontab; the percent sign is special there."""
    hour, _, minute = schedule.at.partition(":")
    command = shlex.join(_command(root)).replace("%", r"\%")
    log = shlex.quote(str(root / "logs" / "cron.log")).replace("%", r"\%")
    return f"{int(minute or 0)} {int(hour)} * * * {command} >> {log} 2>&1\n"
