"""``python -m cureplan``, and where the ``cureplan`` command begins."""

import gc
import os
import signal

__all__ = ["main"]

# Until there is something to keep, Ctrl-C ends the process as it ends any other: at once
# and without a word, even in the middle of an import.
if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def main() -> None:
    """Run the command line; ends the process with its exit code."""
    # Before numpy is loaded: our matrices are small, and threads that wait for more of them
    # cost a tenth of a plan's processor time.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # What is imported and planned lives on: looking for rubbish so often finds none.
    gc.set_threshold(20_000)
    from cureplan.cli import main as run

    run()


if __name__ == "__main__":
    main()
