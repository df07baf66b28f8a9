"""The command line: one module a group of commands, and the only place that prints."""

import os

# The matrices here are small: threads of the linear algebra library would only take the
# second core from the thread that writes the log. Must be said before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
