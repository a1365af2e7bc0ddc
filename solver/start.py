"""Where the program starts: quickly, so that Ctrl-C counts while the rest is still being loaded.

An interrupt that is raised while Python loads a module may be lost, or come out as another error.
So while nothing is done yet it ends the program at once, and later it waits for the loading to be
over.
"""

from __future__ import annotations

import os
import signal
import sys

TYPE_CHECKING = False  # As in `typing`, whose import takes longer than all that is done here.
if TYPE_CHECKING:
    from types import FrameType
    from typing import NoReturn

INTERRUPTED = 130
AGAIN_S = 0.02
LOADER = "<frozen importlib"


def main() -> NoReturn:
    """The entry point of the `ringwright` command."""
    heard = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if heard:
        signal.signal(signal.SIGINT, _leave)
    from solver.cli import main as run

    if heard:
        careful = hasattr(signal, "setitimer")
        signal.signal(signal.SIGINT, _interrupt if careful else signal.default_int_handler)
    run()


def _leave(number: int, frame: FrameType | None) -> NoReturn:
    """End at once: nothing has been begun yet that would have to be tidied up."""
    os.write(2, b"interrupted\n")
    os._exit(INTERRUPTED)


def _interrupt(number: int, frame: FrameType | None) -> None:
    """Interrupt what is being done, but for the loading of a module: then a little later."""
    if sys.platform != "win32" and _is_loading(frame):
        signal.signal(signal.SIGALRM, _interrupt)
        signal.setitimer(signal.ITIMER_REAL, AGAIN_S)
    else:
        raise KeyboardInterrupt


def _is_loading(frame: FrameType | None) -> bool:
    while frame is not None and not frame.f_code.co_filename.startswith(LOADER):
        frame = frame.f_back
    return frame is not None
