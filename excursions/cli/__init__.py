"""The command line: parse, call, print.  The only room that prints or exits.

Exit status: 0 nothing found at or above ``--fail-on``, 1 findings, 2 wrong usage or input, 130 interrupted.
"""

from __future__ import annotations

import os
import sys

INTERRUPTED = 130


def main() -> None:
    """Entry point of the ``excursions`` command; turns every mendable error into one sentence and exit 2."""
    # Read when numpy is loaded, here and in workers.  The matrices are of a few dozen rows: a second thread only waits for
    # the first, and what several add up depends on how many there are.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from excursions.cli.app import app
    from excursions.errors import ExcursionsError
    from excursions.pipeline.heap import keep_freed_memory

    keep_freed_memory()
    try:
        app()
    except ExcursionsError as error:
        print(f"excursions: {error}", file=sys.stderr)
        raise SystemExit(2) from None
    except (KeyboardInterrupt, SystemExit) as left:
        # The command's own framework turns an interruption into this status without a word.
        if isinstance(left, SystemExit) and left.code != INTERRUPTED:
            raise
        print("excursions: interrupted; nothing half-written is left behind.", file=sys.stderr)
        raise SystemExit(INTERRUPTED) from None
