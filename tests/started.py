"""The program in processes of its own, to be killed.

They are forked from one process that has imported the program and done nothing, so that none of
them imports it again, and a kill after a moment meets the program at work.
"""

import os
import signal
import sys
from collections.abc import Callable
from functools import cache
from multiprocessing import get_context
from multiprocessing.forkserver import ensure_running
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import pytest

from pipeline.cli import main

PATIENCE_S = 120


@cache
def _process() -> Callable[..., BaseProcess]:
    """Return what makes processes; the one they are forked from is at work by then."""
    context = get_context("forkserver")
    context.set_forkserver_preload([__name__])
    # It knows of this process's path only through the environment.
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", os.pathsep.join(sys.path))
        ensure_running()
    return context.Process


def started(words: tuple[str, ...], folder: Path) -> BaseProcess:
    """Start a command of the program in a folder; what it prints is thrown away."""
    return begun(_command, words, folder)


def begun(work: Callable[..., None], *values: Any) -> BaseProcess:  # noqa: ANN401 - whatever the work takes
    """Start a module's function in a process of its own."""
    process = _process()(target=work, args=values)
    process.start()
    return process


def ended(process: BaseProcess) -> int:
    """Wait for a process and return its exit status."""
    process.join(PATIENCE_S)
    assert process.exitcode is not None, "it does not end"
    return process.exitcode


def killed(process: BaseProcess) -> bool:
    """Kill a process; False: it had ended by itself."""
    process.kill()
    return ended(process) == -signal.SIGKILL


def _command(words: tuple[str, ...], folder: Path) -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
    os.chdir(folder)
    sys.argv = ["quietaisle", *words]
    main()
