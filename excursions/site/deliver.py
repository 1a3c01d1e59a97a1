"""Handing the digest over: by mail, by a command of the user's, or not at all.  What fails is tried again next night."""

from __future__ import annotations

import os
import smtplib
import subprocess
from collections.abc import Collection, Mapping
from email.message import EmailMessage
from pathlib import Path
from typing import Any

from excursions.site.digest import as_html, as_text, subject
from excursions.site.settings import Command, Settings, Smtp

TIMEOUT_S = 30.0


def deliver(
    facts: Mapping[str, Any], settings: Settings, *, identity: str, already: Collection[str] = ()
) -> tuple[list[str], list[str]]:
    """Hand a digest over in every way the settings name.

    Parameters
    ----------
    identity : str
        The same for every attempt with this digest: a mail that was sent just before a power cut and is sent again
        carries the same Message-ID, by which mail programs know it.
    already : ways in which it was handed over before

    Returns
    -------
    done, failed : list of str
        Ways that need not be tried again, and what failed, in words.
    """
    done, failed = sorted(already), []
    if settings.smtp.host and "mail" not in done:
        try:
            _mail(facts, settings.smtp, identity)
            done.append("mail")
        except (OSError, smtplib.SMTPException) as error:
            failed.append(f"mail by {settings.smtp.host} failed ({error}); tried again by the next run")
    if settings.command.words and "command" not in done:
        try:
            _run(facts, settings.command, identity)
            done.append("command")
        except (OSError, subprocess.SubprocessError) as error:
            failed.append(f"the delivery command failed ({error}); tried again by the next run")
    return done, failed


def message(facts: Mapping[str, Any], smtp: Smtp, identity: str) -> EmailMessage:
    """The mail: text and HTML."""
    mail = EmailMessage()
    mail["Subject"] = subject(facts)
    mail["From"] = smtp.sender
    mail["To"] = ", ".join(smtp.to)
    mail["Message-ID"] = f"<excursions-{identity}@site.invalid>"
    mail.set_content(as_text(facts))
    mail.add_alternative(as_html(facts), subtype="html")
    return mail


def _mail(facts: Mapping[str, Any], smtp: Smtp, identity: str) -> None:
    with smtplib.SMTP(smtp.host, smtp.port, timeout=TIMEOUT_S) as server:
        if smtp.starttls:
            import ssl

            server.starttls(context=ssl.create_default_context())
        if smtp.user:
            server.login(smtp.user, Path(smtp.password_file).read_text(encoding="utf-8").strip())
        server.send_message(message(facts, smtp, identity))


def _run(facts: Mapping[str, Any], command: Command, identity: str) -> None:
    """The user's words as they stand, without a shell; the digest is data on standard input, never an argument."""
    subprocess.run(
        [*command.words],
        input=as_text(facts).encode(),
        timeout=command.timeout_s,
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=_environment(identity),
    )


def _environment(identity: str) -> dict[str, str]:
    return {**os.environ, "EXCURSIONS_DIGEST": identity}
