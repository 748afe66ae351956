"""A process that has read the program in and forks a child for each operation asked for.

Lines of JSON come in: which operation, with what, at which moment it is to die, which fault is
planted. Out go ``begun`` with the child's number, what the child tells, and ``ended`` with how it
ended: below zero the signal that killed it.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from crash.kill_points import Moments
from crash.operations import OPERATIONS, PLANTED, tell


def child(asked: dict[str, Any]) -> None:
    """Do what is asked in this process; never comes back."""
    os.setpgid(0, 0)
    code = 1
    try:
        if asked.get("planted"):
            PLANTED[asked["planted"]]()
        moments = Moments(*asked.get("moment") or ("", 0))
        if asked["operation"] != "serve" or asked.get("moment"):
            moments.install()
        OPERATIONS[asked["operation"]](**asked["with"])
        tell("finished", moments=dict(moments.counts))
        code = 0
    except BaseException:
        tell("failed", says=traceback.format_exc()[-3000:])
    finally:
        os._exit(code)


def main() -> None:
    """Answer until the lines end."""
    tell("ready")
    for line in sys.stdin:
        asked = json.loads(line)
        number = os.fork()
        if not number:
            child(asked)
        tell("begun", pid=number)
        _, status = os.waitpid(number, 0)
        tell("ended", code=os.waitstatus_to_exitcode(status))


if __name__ == "__main__":
    main()
