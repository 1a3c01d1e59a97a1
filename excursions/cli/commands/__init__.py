"""The commands, a file each; a new one is one file and one line in :data:`COMMANDS`.

Heavy imports happen inside the commands, so that ``--help`` answers at once.
"""

from excursions.cli.commands.explain import explain
from excursions.cli.commands.register import register
from excursions.cli.commands.scan import scan

COMMANDS = (
    scan,
    register,
    explain,
)
