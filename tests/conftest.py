"""What all tests stand on."""

from __future__ import annotations

import signal

from hypothesis import settings

# A shell without job control starts what it puts in the background with Ctrl-C ignored, and everything below inherits
# that. Tests of Ctrl-C start programs of their own, which must meet it as a person's terminal would send it.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# The same examples each time, and no limit on an example's time: how busy the machine is says nothing of the program.
settings.register_profile("the same everywhere", derandomize=True, deadline=None)
settings.load_profile("the same everywhere")
