"""The commands, a file each; a new one is one file and one line in :data:`COMMANDS`.

Heavy imports happen inside the commands, so that ``--help`` answers at once.
"""

from excursions.cli.commands.calibrations import calibrations
from excursions.cli.commands.check import check
from excursions.cli.commands.close import close
from excursions.cli.commands.explain import explain
from excursions.cli.commands.handbook import handbook
from excursions.cli.commands.heat import heat
from excursions.cli.commands.init import init
from excursions.cli.commands.nightly import nightly
from excursions.cli.commands.note import note
from excursions.cli.commands.register import register
from excursions.cli.commands.scan import scan
from excursions.cli.commands.status import status

COMMANDS = (
    check,
    scan,
    explain,
    calibrations,
    heat,
    handbook,
    register,
    init,
    nightly,
    note,
    close,
    status,
)
