"""Show figures as pages and charts, and hold the command that joins the rooms. Holds no SQL and no statistics."""

import os

# Read when numpy is loaded. Several questions are answered at a time, and matrices are small: threads of the linear
# algebra under them would wait for each other most of the time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
