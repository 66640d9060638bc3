"""For all tests: one thread of linear algebra in each process, as the commands have it.

Several processes test at a time; threads of theirs would only be in each other's way. Said
here as nothing has loaded numpy yet.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
